"""Money that a customer is to have back."""

from django.conf import settings
from django.db import models

from fleet.machines.models.fields import money

from .tickets import Ticket


class Refund(models.Model):
    """A refund asked for with a ticket: how much, by which way, and what became of it."""

    class Method(models.TextChoices):
        CASH = "cash", "cash, from the host's float"
        POST = "post", "by post"
        PHONE = "phone", "phone payment"
        CARD = "card", "back to the card"
        OTHER = "other", "another way"

    class State(models.TextChoices):
        ASKED = "asked", "asked for"
        PAID = "paid", "paid"
        REFUSED = "refused", "refused"

    ticket = models.ForeignKey(Ticket, on_delete=models.PROTECT, related_name="refunds")
    amount = money()
    method = models.CharField(max_length=5, choices=Method.choices)
    state = models.CharField(max_length=7, choices=State.choices, default=State.ASKED)
    wanted_at = models.DateTimeField()
    asked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="Empty when the customer asked on the public page.",
    )
    contact_digest = models.CharField(
        max_length=64,
        blank=True,
        help_text="Keyed digest of where the customer is reached; tells the same one again.",
    )
    over_limit = models.CharField(
        max_length=300, blank=True, help_text="Which limit was passed when it was asked for."
    )
    ended_at = models.DateTimeField(null=True, blank=True, help_text="Paid or refused.")
    ended_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    paid_out_by = models.CharField(
        max_length=100, blank=True, help_text="Who handed it out, where it was not the desk."
    )
    reason = models.CharField(max_length=300, blank=True)
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["wanted_at", "pk"]
        constraints = [
            models.CheckConstraint(condition=models.Q(amount__gt=0), name="refund_of_something"),
            models.CheckConstraint(
                condition=models.Q(state="asked", ended_at__isnull=True, ended_by__isnull=True)
                | models.Q(state="paid", ended_at__isnull=False, ended_by__isnull=False)
                | (
                    models.Q(state="refused", ended_at__isnull=False, ended_by__isnull=False)
                    & ~models.Q(reason="")
                ),
                name="refund_state_has_its_end",
            ),
        ]
        indexes = [
            models.Index(fields=["state", "wanted_at"], name="refund_by_state"),
            models.Index(fields=["contact_digest", "wanted_at"], name="refund_of_contact"),
        ]

    def __str__(self) -> str:
        return f"{self.amount.normalize():f} for {self.ticket}"
