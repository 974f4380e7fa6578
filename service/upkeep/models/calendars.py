"""Calendar addresses."""

from django.conf import settings
from django.db import models


class CalendarAddress(models.Model):
    """A secret address at which a person's calendar program finds due work.

    Only the secret's digest is kept.
    """

    class Shows(models.TextChoices):
        MINE = "mine", "my work"
        ALL = "all", "everybody's work"

    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="calendar_addresses"
    )
    name = models.CharField(max_length=60, help_text="Which calendar has it.")
    shows = models.CharField(max_length=4, choices=Shows.choices, default=Shows.MINE)
    digest = models.CharField(max_length=64, unique=True, help_text="SHA-256 of the secret, hex.")
    made_at = models.DateTimeField()
    last_used_at = models.DateTimeField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)
    revoked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        verbose_name_plural = "calendar addresses"
        ordering = ["-made_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(revoked_at__isnull=True, revoked_by__isnull=True)
                | models.Q(revoked_at__isnull=False, revoked_by__isnull=False),
                name="calendar_revoked_by_somebody",
            )
        ]

    def __str__(self) -> str:
        return f"{self.name} of {self.person}"
