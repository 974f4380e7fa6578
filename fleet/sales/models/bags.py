"""Cash taken at a machine, under seal, and counted."""

from typing import Any

from django.conf import settings
from django.db import models

from fleet.machines.models import Machine
from fleet.machines.models.fields import money


class Bag(models.Model):
    """Cash taken at one visit in a numbered sealed bag. What is in it is counted later."""

    seal_number = models.CharField(max_length=40, unique=True)
    machine = models.ForeignKey(Machine, on_delete=models.PROTECT, related_name="bags")
    sealed_at = models.DateTimeField(help_text="By the clock of whoever sealed it.")
    recorded_at = models.DateTimeField()
    sealed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )

    # Put there by queries.bags.bags_placed, and by nothing else.
    state: str
    amount: Any
    taken: Any

    class Meta:
        ordering = ["-sealed_at", "-pk"]
        constraints = [
            models.CheckConstraint(condition=~models.Q(seal_number=""), name="bag_has_a_seal")
        ]
        indexes = [models.Index(fields=["machine", "-sealed_at"], name="bag_of_machine")]

    def __str__(self) -> str:
        return f"bag {self.seal_number}"


class BagCount(models.Model):
    """What somebody found in a bag when it was opened and counted. Never changed or deleted.

    A bag that is counted again has another row; the one recorded last holds.
    """

    bag = models.ForeignKey(Bag, on_delete=models.PROTECT, related_name="counts")
    amount = money(help_text="Coins and notes together, in the business's currency.")
    counted_at = models.DateTimeField(help_text="As the person says.")
    recorded_at = models.DateTimeField()
    counted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    second = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="Who counted along: two people count, by common practice.",
    )
    note = models.CharField(max_length=300, blank=True)

    class Meta:
        verbose_name = "bag count"
        ordering = ["-counted_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(amount__gte=0), name="bag_count_not_below_nothing"
            ),
            models.CheckConstraint(
                condition=models.Q(second__isnull=True) | ~models.Q(second=models.F("counted_by")),
                name="bag_count_by_two_different_people",
            ),
        ]
        indexes = [models.Index(fields=["bag", "-counted_at"], name="bag_count_of_bag")]

    def __str__(self) -> str:
        return f"{self.bag}: {self.amount:.2f}"
