"""What is believed of one column: its demand, and what it needs."""

from collections.abc import Sequence
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from django.contrib.postgres.fields import ArrayField
from django.core.serializers.json import DjangoJSONEncoder
from django.db import models

from fleet.machines.models import Column, Product
from fleet.machines.models.fields import money

from .fits import FitRun

WEEK = 7  # days, over which lists tell what is lost if nobody comes


class ColumnDemand(models.Model):
    """The demand for one product in one column, as last fitted."""

    class Basis(models.TextChoices):
        READS = "reads", "audit reads"
        COUNTS = "counts", "counts at visits"
        POOL = "pool", "the pool: like products and the machine"

    column = models.OneToOneField(
        Column, on_delete=models.CASCADE, primary_key=True, related_name="demand"
    )
    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="+")
    run = models.ForeignKey(FitRun, on_delete=models.PROTECT, related_name="+")
    fitted_at = models.DateTimeField()
    fitted_through = models.DateField(help_text="The business's day up to which sales were known.")
    basis = models.CharField(max_length=8, choices=Basis.choices)
    intervals = models.PositiveIntegerField(help_text="Intervals of sale that it was fitted on.")
    units = models.PositiveIntegerField(help_text="Units sold in them.")
    dry_intervals = models.PositiveIntegerField(help_text="Of them, those that ran dry.")
    last_sale_day = models.DateField(
        null=True, blank=True, help_text="Where the latest interval that was fitted on ends."
    )
    a_day = models.FloatField(help_text="Expected units on an average day ahead.")
    model = models.JSONField(help_text="The fitted model, as the computation gives it.")

    class Meta:
        verbose_name_plural = "column demands"
        ordering = ["column"]
        constraints = [
            models.CheckConstraint(condition=models.Q(a_day__gte=0), name="demand_not_negative")
        ]

    def __str__(self) -> str:
        return f"{self.product} in {self.column_id}: {self.a_day:.2f} a day"


class ColumnNeed(models.Model):
    """What one column needs if it is visited, and what is lost if it is not, as of a day.

    `*_by_day` hold one figure a day: what is lost by the end of that day, from `day` on.
    """

    column = models.OneToOneField(
        Column, on_delete=models.CASCADE, primary_key=True, related_name="need"
    )
    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="+")
    run = models.ForeignKey(FitRun, on_delete=models.PROTECT, related_name="+")
    day = models.DateField(help_text="The first day the figures tell of.")
    worked_out_at = models.DateTimeField()
    stock_expected = models.FloatField()
    stock_low = models.FloatField()
    stock_high = models.FloatField()
    stock_basis = models.CharField(max_length=40, help_text="What the estimate stands on.")
    capacity = models.PositiveIntegerField()
    dry_median_days = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="Days until it is as likely dry as not; empty: beyond."
    )
    dry_early_days = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="Days until it is dry in one case of twenty."
    )
    chance_dry_by_day = ArrayField(models.FloatField())
    units_lost_by_day = ArrayField(models.FloatField())
    margin_lost_by_day = ArrayField(money())
    fill_to = models.PositiveIntegerField(help_text="What it shall hold after the next visit.")
    par = models.PositiveIntegerField(help_text="What it shall hold if nothing is out of date.")
    fill_expected = models.FloatField(help_text="Units that the next visit is expected to put in.")
    pull_units = models.PositiveIntegerField(default=0)
    pull_lots = models.JSONField(default=list, blank=True, encoder=DjangoJSONEncoder)
    reasons = models.JSONField(default=list, blank=True)

    class Meta:
        ordering = ["column"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(fill_to__lte=models.F("capacity")), name="need_within_capacity"
            )
        ]
        indexes = [models.Index(fields=["dry_early_days"], name="need_by_dry_day")]

    def __str__(self) -> str:
        return f"need of column {self.column_id} from {self.day}"

    @property
    def dry_median_day(self) -> date | None:
        """By its end the column is as likely dry as not; None: beyond what is looked ahead."""
        return self._on(self.dry_median_days)

    @property
    def dry_early_day(self) -> date | None:
        """By its end the column is dry in one case of twenty."""
        return self._on(self.dry_early_days)

    @property
    def chance_dry_in_a_week(self) -> float | None:
        chance: float | None = _after_a_week(self.chance_dry_by_day)
        return chance

    @property
    def units_lost_in_a_week(self) -> float | None:
        units: float | None = _after_a_week(self.units_lost_by_day)
        return units

    @property
    def margin_lost_in_a_week(self) -> Decimal | None:
        """In the business's currency."""
        margin: Decimal | None = _after_a_week(self.margin_lost_by_day)
        return margin

    def _on(self, days: int | None) -> date | None:
        return None if days is None else self.day + timedelta(days=max(days - 1, 0))


def _after_a_week(by_day: Sequence[Any]) -> Any:
    return by_day[min(WEEK, len(by_day)) - 1] if by_day else None
