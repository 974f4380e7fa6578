"""What is to be done to machines again and again, and how often."""

from typing import Final

from django.conf import settings
from django.contrib.postgres.fields import ArrayField
from django.core.serializers.json import DjangoJSONEncoder
from django.core.validators import MaxValueValidator, MinValueValidator, RegexValidator
from django.db import models

from fleet.machines.models import Kind, Machine

MOST_DAYS: Final = 3660
MOST_VENDS: Final = 10_000_000
MONTH_DAY = RegexValidator(
    r"^(0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01])$", "Write a day of the year as month-day: 05-01."
)


class Trigger(models.TextChoices):
    DAYS = "days", "so many days after the last time"
    VENDS = "vends", "so many vends after the last time"
    SEASON = "season", "on days of the year"


def _has_its_trigger() -> models.Q:
    """Each trigger has its own figure, and none of the others'."""
    return (
        models.Q(
            trigger=Trigger.DAYS,
            every_days__isnull=False,
            every_vends__isnull=True,
            season_days=[],
        )
        | models.Q(
            trigger=Trigger.VENDS,
            every_vends__isnull=False,
            every_days__isnull=True,
            season_days=[],
        )
        | (
            models.Q(trigger=Trigger.SEASON, every_days__isnull=True, every_vends__isnull=True)
            & ~models.Q(season_days=[])
        )
    )


class MaintenancePlan(models.Model):
    """Work that comes again: on which machines, how often, how long it takes, and what to check.

    Without a kind and without a machine it is for every machine to which it applies.
    """

    class AppliesTo(models.TextChoices):
        ALL = "all", "every machine"
        REFRIGERATED = "refrigerated", "machines with a cooling unit"
        DROP_SENSOR = "drop_sensor", "machines with a drop sensor"

    name = models.CharField(max_length=80, unique=True)
    applies_to = models.CharField(max_length=12, choices=AppliesTo.choices, default=AppliesTo.ALL)
    kind = models.ForeignKey(
        Kind,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="maintenance_plans",
        help_text="Only machines of this kind.",
    )
    machine = models.ForeignKey(
        Machine,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="maintenance_plans",
        help_text="Only this machine.",
    )
    trigger = models.CharField(max_length=6, choices=Trigger.choices, default=Trigger.DAYS)
    every_days = models.PositiveSmallIntegerField(
        null=True,
        blank=True,
        validators=[MinValueValidator(1), MaxValueValidator(MOST_DAYS)],
        help_text="Counted from the last work done.",
    )
    every_vends = models.PositiveIntegerField(
        null=True,
        blank=True,
        validators=[MinValueValidator(1), MaxValueValidator(MOST_VENDS)],
        help_text="Counted from the last work done, by the machine's never-reset counters.",
    )
    season_days = ArrayField(
        models.CharField(max_length=5, validators=[MONTH_DAY]),
        default=list,
        blank=True,
        help_text="Days of the year as month-day, as in 05-01.",
    )
    minutes = models.PositiveSmallIntegerField(
        default=15, validators=[MinValueValidator(1), MaxValueValidator(600)]
    )
    checklist = ArrayField(
        models.CharField(max_length=200), default=list, blank=True, help_text="One item a line."
    )
    readings_asked = models.JSONField(
        default=list,
        blank=True,
        encoder=DjangoJSONEncoder,
        help_text="Which readings are taken, each with the band it usually lies in: what, least, "
        "most; values in the reading's own unit, as strings.",
    )
    cautions = models.TextField(blank=True)
    needs_skill = models.CharField(
        max_length=40, blank=True, help_text="Only a driver with this skill does it."
    )
    responsible = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="Who is reminded. Empty: the dispatchers.",
    )
    notice_days = models.PositiveSmallIntegerField(
        default=7,
        validators=[MaxValueValidator(365)],
        help_text="So many days before it is due people are reminded, and work done counts for it.",
    )
    grounds = models.CharField(
        max_length=200, blank=True, help_text="Where the interval comes from."
    )
    active = models.BooleanField(default=True)
    starts_on = models.DateField(
        null=True,
        blank=True,
        help_text="Nothing of it is due before. Empty: from when it was made.",
    )
    made_at = models.DateTimeField()
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["name", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=_has_its_trigger(),
                name="plan_has_its_trigger",
                violation_error_message="Give the days, the vends or the days of the year, as the "
                "plan is set off, and only these.",
            ),
            models.CheckConstraint(
                condition=models.Q(kind__isnull=True) | models.Q(machine__isnull=True),
                name="plan_kind_or_machine",
                violation_error_message="A plan is for a kind or for one machine, not for both.",
            ),
            models.CheckConstraint(
                condition=(
                    models.Q(every_days__isnull=True) | models.Q(every_days__range=(1, MOST_DAYS))
                )
                & (
                    models.Q(every_vends__isnull=True)
                    | models.Q(every_vends__range=(1, MOST_VENDS))
                )
                & models.Q(minutes__range=(1, 600)),
                name="plan_figures_possible",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class OwnTerms(models.Model):
    """One machine's own interval of a plan, or that the plan is not for it, and why."""

    plan = models.ForeignKey(MaintenancePlan, on_delete=models.CASCADE, related_name="own_terms")
    machine = models.ForeignKey(
        Machine, on_delete=models.CASCADE, related_name="own_maintenance_terms"
    )
    every_days = models.PositiveSmallIntegerField(
        null=True, blank=True, validators=[MinValueValidator(1), MaxValueValidator(MOST_DAYS)]
    )
    every_vends = models.PositiveIntegerField(
        null=True, blank=True, validators=[MinValueValidator(1), MaxValueValidator(MOST_VENDS)]
    )
    left_out = models.BooleanField(default=False, help_text="The plan is not for this machine.")
    why = models.CharField(max_length=200, help_text="As in: dusty hall, so monthly.")
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        verbose_name_plural = "own terms"
        ordering = ["plan", "machine__asset_tag", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["plan", "machine"], name="own_terms_once"),
            models.CheckConstraint(
                condition=models.Q(left_out=True, every_days__isnull=True, every_vends__isnull=True)
                | models.Q(
                    left_out=False,
                    every_days__isnull=False,
                    every_days__gte=1,
                    every_vends__isnull=True,
                )
                | models.Q(
                    left_out=False,
                    every_days__isnull=True,
                    every_vends__isnull=False,
                    every_vends__gte=1,
                ),
                name="own_terms_say_one_thing",
                violation_error_message="Give the machine's own days or vends, or leave it out.",
            ),
            models.CheckConstraint(condition=~models.Q(why=""), name="own_terms_say_why"),
        ]

    def __str__(self) -> str:
        return f"{self.plan} of {self.machine}"
