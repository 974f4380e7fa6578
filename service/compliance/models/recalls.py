"""Recalls: which lots are called back, who is sent to fetch them, and what was taken out."""

from django.conf import settings
from django.db import models

from fleet.inventory.models import Movement, StockPlace
from fleet.machines.models import Machine, Product
from service.runs.models import Stop

from .evidence import Evidence


class Recall(models.Model):
    """A product called back: all of it, or the lots with one of some codes or dates."""

    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="recalls")
    lot_codes = models.CharField(
        max_length=300,
        blank=True,
        help_text="As printed, with commas between. Empty: whatever the code.",
    )
    best_before_from = models.DateField(null=True, blank=True)
    best_before_until = models.DateField(null=True, blank=True)
    reason = models.CharField(max_length=300)
    reference = models.CharField(
        max_length=120, blank=True, help_text="Of the authority's or the supplier's notice."
    )
    opened_at = models.DateTimeField()
    opened_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    closed_said = models.CharField(max_length=300, blank=True)
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["-opened_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(closed_at__isnull=True, closed_by__isnull=True, closed_said="")
                | (
                    models.Q(closed_at__isnull=False, closed_by__isnull=False)
                    & ~models.Q(closed_said="")
                ),
                name="recall_closed_says_how",
            ),
            models.CheckConstraint(
                condition=models.Q(best_before_from__isnull=True)
                | models.Q(best_before_until__isnull=True)
                | models.Q(best_before_until__gte=models.F("best_before_from")),
                name="recall_dates_in_order",
                violation_error_message="The last date cannot lie before the first.",
            ),
            models.CheckConstraint(condition=~models.Q(reason=""), name="recall_says_why"),
        ]

    def __str__(self) -> str:
        return f"recall of {self.product}"

    @property
    def codes(self) -> tuple[str, ...]:
        """The codes of the lots called back; empty: whatever the code."""
        return tuple(code for code in (one.strip() for one in self.lot_codes.split(",")) if code)


class RecallVisit(models.Model):
    """Somebody is sent to a machine to take out what is called back."""

    recall = models.ForeignKey(Recall, on_delete=models.PROTECT, related_name="visits")
    machine = models.ForeignKey(Machine, on_delete=models.PROTECT, related_name="recall_visits")
    stop = models.ForeignKey(
        Stop, null=True, blank=True, on_delete=models.SET_NULL, related_name="recall_visits"
    )
    asked_at = models.DateTimeField()
    asked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["recall", "-asked_at", "-pk"]

    def __str__(self) -> str:
        return f"{self.machine} for the {self.recall}"


class RecallRemoval(models.Model):
    """What somebody found of it at one place, took out, and can show. Zero: looked, none there."""

    recall = models.ForeignKey(Recall, on_delete=models.PROTECT, related_name="removals")
    place = models.ForeignKey(StockPlace, on_delete=models.PROTECT, related_name="recall_removals")
    quantity = models.PositiveIntegerField()
    movement = models.ForeignKey(
        Movement, null=True, blank=True, on_delete=models.PROTECT, related_name="recall_removals"
    )
    evidence = models.ForeignKey(
        Evidence, null=True, blank=True, on_delete=models.PROTECT, related_name="recall_removals"
    )
    note = models.CharField(max_length=300, blank=True)
    happened_at = models.DateTimeField(help_text="As the person says.")
    at = models.DateTimeField(help_text="When it was written down.")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["recall", "-happened_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(quantity=0, movement__isnull=True)
                | models.Q(quantity__gte=1, movement__isnull=False),
                name="recall_removal_is_booked",
            )
        ]

    def __str__(self) -> str:
        return f"{self.quantity} of the {self.recall} out of {self.place}"
