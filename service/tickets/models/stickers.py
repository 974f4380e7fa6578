"""The stickers on machines that lead to the page where anybody reports a fault."""

import secrets

from django.conf import settings
from django.db import models

from fleet.machines.models import Machine


def new_code() -> str:
    """80 random bits: no sticker is guessed from another."""
    return secrets.token_hex(10)


class Sticker(models.Model):
    """What a machine's QR code says. A new one withdraws the one before."""

    machine = models.ForeignKey(Machine, on_delete=models.PROTECT, related_name="stickers")
    code = models.CharField(max_length=20, unique=True, default=new_code, editable=False)
    issued_at = models.DateTimeField()
    issued_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["machine", "-issued_at", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["machine"],
                condition=models.Q(withdrawn_at__isnull=True),
                name="sticker_one_in_use",
            )
        ]

    def __str__(self) -> str:
        return f"sticker of {self.machine}"
