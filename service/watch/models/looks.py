"""Looks over the fleet: when, at what, and what came of it."""

from django.conf import settings
from django.contrib.postgres.fields import ArrayField
from django.core.serializers.json import DjangoJSONEncoder
from django.db import models


class Look(models.Model):
    """The numbers gone through once: of the whole fleet by night, or of machines with news.

    A look at some machines holds them against the mark of the last look over the whole fleet:
    the chance below which a silence counts (`mark`), as the fleet's own numbers set it.
    """

    class Over(models.TextChoices):
        NIGHT = "night", "the whole fleet, by night"
        ASKED = "asked", "the whole fleet, on demand"
        NEWS = "news", "machines with news"

    class State(models.TextChoices):
        RUNNING = "running", "running"
        DONE = "done", "done"
        FAILED = "failed", "failed"

    over = models.CharField(max_length=6, choices=Over.choices)
    day = models.DateField(help_text="The business's day on which it began.")
    state = models.CharField(max_length=8, choices=State.choices, default=State.RUNNING)
    asked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    started_at = models.DateTimeField()
    finished_at = models.DateTimeField(null=True, blank=True)
    machines = models.PositiveIntegerField(default=0)
    columns = models.PositiveIntegerField(default=0, help_text="Columns whose silence was judged.")
    mark = models.FloatField(
        null=True, blank=True, help_text="Silences with a smaller chance were taken for wrong."
    )
    found = models.PositiveIntegerField(default=0, help_text="Findings that it saw, old and new.")
    opened = models.PositiveIntegerField(default=0)
    recovered = models.PositiveIntegerField(default=0)
    ticketed = models.PositiveIntegerField(default=0)
    last_read = models.BigIntegerField(default=0, help_text="Key of the latest read it knew.")
    last_count = models.BigIntegerField(default=0, help_text="Key of the latest count it knew.")
    last_bag_count = models.BigIntegerField(default=0)
    told = models.JSONField(
        default=dict, encoder=DjangoJSONEncoder, help_text="The limits that it held to."
    )
    outcome = models.CharField(max_length=300, blank=True, help_text="How it ended, in words.")

    class Meta:
        ordering = ["-started_at", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["day"], condition=models.Q(over="night"), name="look_one_a_night"
            ),
            models.UniqueConstraint(
                fields=["state"],
                condition=models.Q(state="running"),
                name="look_one_at_a_time",
            ),
            models.CheckConstraint(
                condition=models.Q(state="running", finished_at__isnull=True)
                | (~models.Q(state="running") & models.Q(finished_at__isnull=False)),
                name="look_ended_has_a_time",
            ),
        ]

    def __str__(self) -> str:
        return f"look of {self.day}: {self.get_over_display()}"


class LookPart(models.Model):
    """Some machines of one look: what one worker goes through in one go.

    A worker takes a part by compare-and-set on its state and `attempt`, and what it saw is kept
    only if the attempt is still its own. `seen` waits for the other parts: what silence is too
    long to be chance is told over the whole fleet.
    """

    class State(models.TextChoices):
        WAITING = "waiting", "waiting"
        TAKEN = "taken", "being looked at"
        DONE = "done", "done"
        FAILED = "failed", "failed"

    look = models.ForeignKey(Look, on_delete=models.CASCADE, related_name="parts")
    number = models.PositiveSmallIntegerField()
    machines = ArrayField(models.BigIntegerField(), help_text="Keys of the machines.")
    state = models.CharField(max_length=8, choices=State.choices, default=State.WAITING)
    attempt = models.PositiveSmallIntegerField(default=0)
    taken_at = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)
    judged = models.PositiveIntegerField(default=0, help_text="Columns whose silence was judged.")
    seen = models.JSONField(default=list, blank=True, encoder=DjangoJSONEncoder)
    error = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["look", "number", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["look", "number"], name="look_part_number_in_look"),
            models.CheckConstraint(
                condition=models.Q(state="waiting")
                | models.Q(taken_at__isnull=False, attempt__gte=1),
                name="look_part_taken_by_somebody",
            ),
            models.CheckConstraint(
                condition=~models.Q(state="failed") | ~models.Q(error=""),
                name="look_part_failed_says_why",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.look}, part {self.number}"
