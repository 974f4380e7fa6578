"""What the business decides about demand and filling."""

from decimal import Decimal

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from fleet.machines.models.fields import money
from people.one_row import OneRow


class DemandRules(OneRow):
    """How far back demand is fitted, how far ahead it is told, and what filling aims at.

    One row.
    """

    history_days = models.PositiveSmallIntegerField(
        default=365,
        validators=[MinValueValidator(28), MaxValueValidator(1100)],
        help_text="Sales older than this are not fitted on.",
    )
    ahead_days = models.PositiveSmallIntegerField(
        default=28,
        validators=[MinValueValidator(7), MaxValueValidator(90)],
        help_text="How many days ahead losses are told.",
    )
    usual_gap_days = models.PositiveSmallIntegerField(
        default=7,
        validators=[MinValueValidator(1), MaxValueValidator(60)],
        help_text="Days between two visits where nothing tells them better.",
    )
    truck_level = models.DecimalField(
        max_digits=4,
        decimal_places=3,
        default=Decimal("0.900"),
        validators=[MinValueValidator(Decimal("0.5")), MaxValueValidator(Decimal("0.995"))],
        help_text="How often what the truck carries for a column shall be enough.",
    )
    leftover_part = models.DecimalField(
        max_digits=4,
        decimal_places=3,
        default=Decimal("0.050"),
        validators=[MinValueValidator(Decimal("0.001")), MaxValueValidator(Decimal(1))],
        help_text="What a unit still there at the next visit costs, as a part of what it cost.",
    )
    changeover_minutes = models.PositiveSmallIntegerField(
        default=20, help_text="Work of one column's changeover, counted against a suggestion."
    )
    hour_cost = money(
        default=Decimal("28"), help_text="What an hour of a driver costs, wages and van."
    )
    pay_back_weeks = models.PositiveSmallIntegerField(
        default=12,
        validators=[MinValueValidator(1), MaxValueValidator(104)],
        help_text="A changeover's work is spread over so many weeks.",
    )
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        verbose_name = "demand rules"
        verbose_name_plural = "demand rules"
        constraints = [
            models.CheckConstraint(condition=models.Q(pk=1), name="demand_rules_one_row"),
            models.CheckConstraint(
                condition=models.Q(
                    history_days__gte=28,
                    ahead_days__gte=7,
                    usual_gap_days__gte=1,
                    pay_back_weeks__gte=1,
                    hour_cost__gte=0,
                    leftover_part__gt=0,
                ),
                name="demand_rules_possible",
            ),
        ]

    def __str__(self) -> str:
        return "demand rules"
