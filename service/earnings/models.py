"""What is assumed where earnings are reckoned."""

from decimal import Decimal
from typing import Any

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q

from people.one_row import OneRow


def _figure(default: str | None, most: str, *, places: int = 2, said: str) -> Any:
    return models.DecimalField(
        max_digits=9,
        decimal_places=places,
        null=default is None,
        blank=default is None,
        default=None if default is None else Decimal(default),
        validators=[MinValueValidator(Decimal(0)), MaxValueValidator(Decimal(most))],
        help_text=said,
    )


class EarningsSettings(OneRow):
    """What an hour and a way cost, what every machine bears, how buyers take a price. One row."""

    cost_per_hour = _figure(
        None, "10000", said="A driver's hour with all that comes on top. Empty: as plans assume."
    )
    cost_per_km = _figure(
        None, "1000", places=4, said="Fuel, wear, insurance. Empty: as plans assume."
    )
    overhead_per_month = _figure(
        "0.00",
        "100000",
        said="What every machine at a site bears in a month: rent, desk, insurance.",
    )
    moving_minutes = models.PositiveSmallIntegerField(
        default=240,
        validators=[MaxValueValidator(10_000)],
        help_text="Work of moving a machine, of all hands together. Assumed.",
    )
    elasticity_least = _figure(
        "0.30",
        "10",
        said="Buyers lost, in percent, for each percent on a price, if they mind it little. "
        "Assumed; reviews of food and drinks put the mean between 0.3 and 0.8 (from memory).",
    )
    elasticity_most = _figure("1.50", "10", said="The same if they mind it much. Assumed.")
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        verbose_name_plural = "earnings settings"
        constraints = [
            models.CheckConstraint(condition=Q(pk=1), name="earnings_settings_are_one_row"),
            models.CheckConstraint(
                condition=Q(overhead_per_month__gte=0)
                & Q(elasticity_least__gte=0)
                & Q(elasticity_most__gte=F("elasticity_least"))
                & (Q(cost_per_hour__isnull=True) | Q(cost_per_hour__gte=0))
                & (Q(cost_per_km__isnull=True) | Q(cost_per_km__gte=0)),
                name="earnings_settings_make_sense",
            ),
        ]

    def __str__(self) -> str:
        return "what earnings are reckoned with"
