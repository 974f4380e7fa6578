"""How warm or cold food may be in machines, and machines locked because it was not."""

from decimal import Decimal

from django.conf import settings
from django.core.serializers.json import DjangoJSONEncoder
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from fleet.machines.models import Machine
from service.upkeep.models import Reading
from service.watch.models import Finding

from .duties import STATE_CODE, SourceStatus


class TemperatureLimits(models.Model):
    """The limits of one state, or of all that have none of their own.

    Food that is kept cold may be warmer than `cold_most_c` for `cold_minutes` after the machine was
    filled or serviced, and at no other time; food that is kept hot likewise.
    """

    state = models.CharField(
        max_length=2,
        blank=True,
        unique=True,
        validators=[STATE_CODE],
        help_text="Empty: wherever a state has none of its own.",
    )
    cold_most_c = models.DecimalField(
        max_digits=5,
        decimal_places=2,
        validators=[MinValueValidator(Decimal(-10)), MaxValueValidator(Decimal(20))],
    )
    cold_minutes = models.PositiveSmallIntegerField(validators=[MaxValueValidator(480)])
    hot_least_c = models.DecimalField(
        max_digits=5,
        decimal_places=2,
        validators=[MinValueValidator(Decimal(40)), MaxValueValidator(Decimal(100))],
    )
    hot_minutes = models.PositiveSmallIntegerField(validators=[MaxValueValidator(480)])
    citation = models.CharField(max_length=200)
    status = models.CharField(max_length=9, choices=SourceStatus.choices)
    note = models.CharField(max_length=300, blank=True)
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        verbose_name = "temperature limits"
        verbose_name_plural = "temperature limits"
        ordering = ["state", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(cold_most_c__lt=models.F("hot_least_c")),
                name="temperature_limits_cold_below_hot",
                violation_error_message="Cold food has to stay colder than hot food.",
            )
        ]

    def __str__(self) -> str:
        return self.state or "every other state"


class FoodLock(models.Model):
    """A machine that may not vend food kept cold or hot: since when and because of which reading.

    It stays locked, whatever it reads later, until somebody says that it was serviced and restocked
    with food that is safe.
    """

    machine = models.ForeignKey(Machine, on_delete=models.PROTECT, related_name="food_locks")
    reading = models.ForeignKey(
        Reading, null=True, blank=True, on_delete=models.PROTECT, related_name="food_locks"
    )
    since = models.DateTimeField(help_text="From when on the food was out of its limits for good.")
    locked_at = models.DateTimeField(help_text="When the service found it.")
    said = models.CharField(max_length=300)
    figures = models.JSONField(default=dict, blank=True, encoder=DjangoJSONEncoder)
    finding = models.ForeignKey(
        Finding, null=True, blank=True, on_delete=models.PROTECT, related_name="food_locks"
    )
    serviced_at = models.DateTimeField(null=True, blank=True)
    restocked_at = models.DateTimeField(null=True, blank=True)
    lifted_at = models.DateTimeField(null=True, blank=True)
    lifted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    lifted_said = models.CharField(
        max_length=300, blank=True, help_text="What was done, and what became of the food."
    )

    class Meta:
        ordering = ["-since", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["machine"],
                condition=models.Q(lifted_at__isnull=True),
                name="food_lock_one_a_machine",
            ),
            models.CheckConstraint(
                condition=models.Q(lifted_at__isnull=True, lifted_by__isnull=True)
                | (
                    models.Q(
                        lifted_at__isnull=False,
                        lifted_by__isnull=False,
                        serviced_at__isnull=False,
                        restocked_at__isnull=False,
                    )
                    & ~models.Q(lifted_said="")
                ),
                name="food_lock_lifted_when_serviced_and_restocked",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.machine}, locked since {self.since:%Y-%m-%d %H:%M}"
