"""What planning assumes where nothing is measured."""

from decimal import Decimal
from typing import Any

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from people.one_row import OneRow


def _figure(default: str, least: str, most: str, *, places: int = 2, said: str = "") -> Any:
    return models.DecimalField(
        max_digits=9,
        decimal_places=places,
        default=Decimal(default),
        validators=[MinValueValidator(Decimal(least)), MaxValueValidator(Decimal(most))],
        help_text=said,
    )


class RunAssumptions(OneRow):
    """Speeds, times, costs and service levels that plans are made with. One row."""

    circuity = _figure(
        "1.300",
        "1",
        "3",
        places=3,
        said="Road over great circle. 1.2 to 1.5 in towns (published averages 1.20 to 1.34).",
    )
    town_speed_kmh = _figure("35", "5", "130", said="Common practice, no published source.")
    open_road_speed_kmh = _figure("65", "5", "130", said="Common practice, no published source.")
    town_leg_km = _figure(
        "8", "0", "200", said="So much of each leg is driven in town, the rest outside. Assumed."
    )
    minutes_per_stop = _figure("2", "0", "60", said="Parking and walking, each stop. Assumed.")
    visit_minutes = _figure(
        "15", "1", "240", said="A visit without its columns: 15 to 30, common practice."
    )
    minutes_per_column = _figure("1", "0", "30", said="About a minute a column, common practice.")
    visits_to_learn = models.PositiveSmallIntegerField(
        default=4,
        validators=[MinValueValidator(1), MaxValueValidator(50)],
        help_text="Visits that weigh as much as the assumed time of a visit.",
    )
    cost_per_hour = _figure("28", "0", "10000", said="Wages with all that comes on top. Assumed.")
    cost_per_km = _figure("0.45", "0", "1000", places=4, said="Fuel, wear, insurance. Assumed.")
    cost_per_run = _figure("0", "0", "100000", said="What a run costs just for leaving. Assumed.")
    load_service_level = _figure(
        "0.900",
        "0.5",
        "0.999",
        places=3,
        said="How often the truck carries enough of a product whose need is learned at the "
        "machine. Common practice.",
    )
    overtime_minutes = models.PositiveSmallIntegerField(
        default=0, validators=[MaxValueValidator(480)], help_text="Allowed beyond a shift."
    )
    fresh_read_hours = models.PositiveSmallIntegerField(
        default=18,
        validators=[MinValueValidator(1), MaxValueValidator(240)],
        help_text="A need known from a read no older is packed for the machine.",
    )
    effort = models.PositiveIntegerField(
        null=True,
        blank=True,
        validators=[MinValueValidator(1), MaxValueValidator(200_000)],
        help_text="Rounds of the search; the same rounds and seed give the same plan. Empty: as "
        "many as the machines in question ask for.",
    )
    seed = models.PositiveIntegerField(default=1)
    clock_off_minutes = models.PositiveSmallIntegerField(
        default=10,
        validators=[MinValueValidator(1)],
        help_text="A device's clock further off than this is flagged.",
    )
    holidays_country = models.CharField(
        max_length=2, blank=True, default="US", help_text="ISO 3166-1; empty: no public holidays."
    )
    holidays_part = models.CharField(
        max_length=10, blank=True, help_text="ISO 3166-2 part of the country, as in NJ."
    )
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        verbose_name_plural = "run assumptions"
        constraints = [
            models.CheckConstraint(condition=models.Q(pk=1), name="run_assumptions_are_one_row")
        ]

    def __str__(self) -> str:
        return "what planning assumes"
