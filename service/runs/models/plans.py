"""What was decided for a day, from what, and why."""

from django.conf import settings
from django.core.serializers.json import DjangoJSONEncoder
from django.db import models

from fleet.machines.models import Machine


class DayPlan(models.Model):
    """One day planned for all depots: from what, at what score. Only one plan a day is agreed."""

    class State(models.TextChoices):
        DRAFT = "draft", "draft"
        AGREED = "agreed", "agreed"
        DROPPED = "dropped", "dropped"

    date = models.DateField()
    state = models.CharField(max_length=8, choices=State.choices, default=State.DRAFT)
    week_of = models.DateField(
        null=True, blank=True, help_text="The first day of the week solved in one."
    )
    seed = models.PositiveIntegerField()
    inputs_digest = models.CharField(
        max_length=64, help_text="SHA-256 over all that went into the solver, hex."
    )
    inputs = models.JSONField(
        default=dict, encoder=DjangoJSONEncoder, help_text="What was assumed, and from when."
    )
    score = models.JSONField(
        default=dict,
        encoder=DjangoJSONEncoder,
        help_text="By the independent evaluator: minutes, kilometres, costs, margin saved.",
    )
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    agreed_at = models.DateTimeField(null=True, blank=True)
    agreed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["-date", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["date"], condition=models.Q(state="agreed"), name="plan_one_agreed_a_day"
            ),
            models.CheckConstraint(
                condition=~models.Q(state="agreed")
                | models.Q(agreed_at__isnull=False, agreed_by__isnull=False),
                name="plan_agreed_by_somebody",
            ),
        ]

    def __str__(self) -> str:
        return f"plan of {self.date}"


class PlannedMachine(models.Model):
    """Why a machine is in a day's plan, or out of it. Money in minor units."""

    plan = models.ForeignKey(DayPlan, on_delete=models.CASCADE, related_name="machines")
    machine = models.ForeignKey(Machine, on_delete=models.PROTECT, related_name="+")
    included = models.BooleanField()
    must_go = models.BooleanField(default=False)
    reasons = models.JSONField(
        default=list,
        encoder=DjangoJSONEncoder,
        help_text="Each with a code, its words and its figures.",
    )
    prize_minor = models.BigIntegerField(help_text="Margin saved by going now, not next time.")
    units_at_stake = models.DecimalField(max_digits=9, decimal_places=2, default=0)
    costs_minutes = models.DecimalField(
        max_digits=7,
        decimal_places=1,
        null=True,
        blank=True,
        help_text="What the visit adds to the day; where it is out, what it would add.",
    )
    costs_minor = models.BigIntegerField(null=True, blank=True)
    service_minutes = models.DecimalField(max_digits=6, decimal_places=1)
    load_volume_ml = models.PositiveIntegerField(default=0, help_text="What the visit brings.")
    load_weight_g = models.PositiveIntegerField(default=0)
    load_cases = models.PositiveIntegerField(default=0)

    class Meta:
        ordering = ["plan", "-included", "-prize_minor", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["plan", "machine"], name="planned_machine_once")
        ]

    def __str__(self) -> str:
        return f"{self.machine} {'in' if self.included else 'out'}"
