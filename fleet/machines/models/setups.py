"""How a column is set, from one moment to another."""

from django.contrib.postgres.constraints import ExclusionConstraint
from django.contrib.postgres.fields import RangeOperators
from django.db import models

from .fields import Period, money
from .kinds import DepthProgram
from .machines import Column
from .products import Product


class Setting(models.Model):
    """What a hand sets in a column. Shared by set-ups and by what a changeover plans and leaves."""

    class Orientation(models.TextChoices):
        CAP_OUTWARD = "cap_outward", "cap away from the beam"
        CAP_INWARD = "cap_inward", "cap toward the beam"
        UPRIGHT = "upright", "standing (spirals)"

    deep = models.PositiveSmallIntegerField()
    front_setting = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="Notch, from zero."
    )
    rear_setting = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="Notch, from zero."
    )
    program = models.ForeignKey(
        DepthProgram, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    price = money()
    orientation = models.CharField(
        max_length=12, choices=Orientation.choices, default=Orientation.CAP_OUTWARD
    )

    class Meta:
        abstract = True


class SetUp(Setting):
    """One column held one product, set so, from one moment to another; an empty end means now."""

    class Source(models.TextChoices):
        CHANGEOVER = "changeover", "a changeover"
        FOUND = "found", "as found"

    column = models.ForeignKey(Column, on_delete=models.PROTECT, related_name="set_ups")
    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="set_ups")
    capacity = models.PositiveSmallIntegerField(help_text="Products the column holds so set.")
    source = models.CharField(max_length=10, choices=Source.choices)
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["column", "-starts_at", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(ends_at__isnull=True)
                | models.Q(ends_at__gt=models.F("starts_at")),
                name="set_up_ends_after_start",
            ),
            models.CheckConstraint(condition=models.Q(deep__gte=1), name="set_up_deep_from_one"),
            models.CheckConstraint(
                condition=models.Q(price__gte=0), name="set_up_price_not_negative"
            ),
            ExclusionConstraint(
                name="set_up_one_at_a_time",
                expressions=[("column", RangeOperators.EQUAL), (Period(), RangeOperators.OVERLAPS)],
            ),
        ]
        indexes = [
            models.Index(
                fields=["column"], condition=models.Q(ends_at__isnull=True), name="set_up_now"
            )
        ]

    def __str__(self) -> str:
        return f"{self.product} in {self.column}"
