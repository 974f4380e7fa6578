"""Where runs begin and end, and the vehicles that stand there."""

from decimal import Decimal

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from fleet.inventory.models import StockPlace
from fleet.machines.models import Site


class Depot(models.Model):
    """A warehouse of the business from which runs leave.

    How fast its country is driven is learned from the arrivals logged on its runs.
    """

    site = models.OneToOneField(Site, on_delete=models.PROTECT, related_name="depot")
    loading_minutes = models.PositiveSmallIntegerField(
        default=20, help_text="From the start of the shift to leaving. Common practice."
    )
    unloading_minutes = models.PositiveSmallIntegerField(
        default=15, help_text="From coming back to the end: truck count, bags, waste."
    )
    travel_multiplier = models.DecimalField(
        max_digits=5,
        decimal_places=3,
        default=Decimal(1),
        validators=[MinValueValidator(Decimal("0.2")), MaxValueValidator(Decimal(5))],
        help_text="Times driven over times computed, learned from logged arrivals.",
    )
    travel_legs = models.PositiveIntegerField(
        default=0, help_text="Legs the multiplier was learned from."
    )
    travel_learned_at = models.DateTimeField(null=True, blank=True)
    active = models.BooleanField(default=True)
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["site__name", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(travel_multiplier__gte=Decimal("0.2"), travel_multiplier__lte=5),
                name="depot_multiplier_possible",
            )
        ]

    def __str__(self) -> str:
        return self.site.name


class Vehicle(models.Model):
    """A truck with its stock. An empty capacity is not a limit."""

    name = models.CharField(max_length=60, unique=True)
    truck = models.OneToOneField(StockPlace, on_delete=models.PROTECT, related_name="vehicle")
    depot = models.ForeignKey(Depot, on_delete=models.PROTECT, related_name="vehicles")
    volume_l = models.PositiveIntegerField(null=True, blank=True, help_text="Load space, litres.")
    weight_kg = models.PositiveIntegerField(null=True, blank=True, help_text="Payload.")
    cases = models.PositiveIntegerField(
        null=True, blank=True, help_text="Cases it holds, where that is how it is loaded."
    )
    active = models.BooleanField(default=True)
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["name", "pk"]

    def __str__(self) -> str:
        return self.name
