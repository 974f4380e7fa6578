"""What comes due."""

from django.conf import settings
from django.core.serializers.json import DjangoJSONEncoder
from django.db import models

from fleet.machines.models import Machine

from .plans import MaintenancePlan
from .work import MaintenanceDone


class DueWork(models.Model):
    """One plan's next turn at one machine, with the day it is due and why that day.

    A machine has one open turn of a plan. Where the day is an estimate it has a band, in which it
    lies nine times in ten.
    """

    class State(models.TextChoices):
        OPEN = "open", "open"
        DONE = "done", "done"
        FELL_AWAY = "fell_away", "no longer asked for"

    machine = models.ForeignKey(Machine, on_delete=models.CASCADE, related_name="due_work")
    plan = models.ForeignKey(MaintenancePlan, on_delete=models.CASCADE, related_name="due_work")
    state = models.CharField(max_length=9, choices=State.choices, default=State.OPEN)
    due_on = models.DateField()
    earliest_on = models.DateField(null=True, blank=True)
    latest_on = models.DateField(null=True, blank=True)
    because = models.CharField(max_length=300)
    figures = models.JSONField(default=dict, blank=True, encoder=DjangoJSONEncoder)
    put_off_to = models.DateField(
        null=True, blank=True, help_text="A person moved this turn to that day."
    )
    day = models.DateField(help_text="When it is to be done: where it was moved, else when due.")
    put_off_why = models.CharField(max_length=200, blank=True)
    given_to = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="due_work",
        help_text="Who does it. Empty: whoever the plan names, or the dispatchers.",
    )
    reminded_at = models.DateTimeField(null=True, blank=True)
    late_told_at = models.DateTimeField(null=True, blank=True)
    done = models.OneToOneField(
        MaintenanceDone, null=True, blank=True, on_delete=models.PROTECT, related_name="due"
    )
    opened_at = models.DateTimeField()
    closed_at = models.DateTimeField(null=True, blank=True)
    sequence = models.PositiveIntegerField(
        default=0, help_text="Goes up with each change that a calendar shows (RFC 5545)."
    )
    changed_at = models.DateTimeField(help_text="When what a calendar shows changed last.")

    class Meta:
        verbose_name_plural = "due work"
        ordering = ["day", "machine__asset_tag", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["machine", "plan"],
                condition=models.Q(state="open"),
                name="due_one_open_a_plan_and_machine",
            ),
            models.CheckConstraint(
                condition=models.Q(state="open", closed_at__isnull=True, done__isnull=True)
                | models.Q(state="done", closed_at__isnull=False, done__isnull=False)
                | models.Q(state="fell_away", closed_at__isnull=False, done__isnull=True),
                name="due_state_whole",
            ),
            models.CheckConstraint(
                condition=models.Q(put_off_to__isnull=True, day=models.F("due_on"))
                | models.Q(put_off_to__isnull=False, day=models.F("put_off_to")),
                name="due_day_follows",
            ),
            models.CheckConstraint(
                condition=models.Q(put_off_to__isnull=True, put_off_why="")
                | (models.Q(put_off_to__isnull=False) & ~models.Q(put_off_why="")),
                name="due_put_off_says_why",
            ),
        ]
        indexes = [
            models.Index(fields=["day"], condition=models.Q(state="open"), name="due_open_by_day")
        ]

    def __str__(self) -> str:
        return f"{self.plan} at {self.machine}"
