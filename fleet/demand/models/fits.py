"""Runs of the refit: what was fitted, when, on what, and how well."""

from django.conf import settings
from django.contrib.postgres.fields import ArrayField
from django.core.serializers.json import DjangoJSONEncoder
from django.db import models

from fleet.machines.models import Site


class FitRun(models.Model):
    """Every column's demand fitted anew, once: by the night, or because a person asked."""

    class State(models.TextChoices):
        RUNNING = "running", "running"
        DONE = "done", "done"
        FAILED = "failed", "failed"

    day = models.DateField(help_text="The business's day on which it began.")
    is_nightly = models.BooleanField(default=False)
    state = models.CharField(max_length=8, choices=State.choices, default=State.RUNNING)
    asked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    started_at = models.DateTimeField()
    finished_at = models.DateTimeField(null=True, blank=True)
    fitted_with = models.JSONField(
        default=dict, encoder=DjangoJSONEncoder, help_text="What the fit was told."
    )
    machines = models.PositiveIntegerField(default=0)
    columns = models.PositiveIntegerField(default=0)
    intervals = models.PositiveIntegerField(default=0)
    outcome = models.CharField(max_length=300, blank=True, help_text="How it ended, in words.")

    class Meta:
        ordering = ["-started_at", "-pk"]
        constraints = [
            # Two clocks that strike at once start one run, and nobody starts a second beside it.
            models.UniqueConstraint(
                fields=["day"], condition=models.Q(is_nightly=True), name="fit_run_one_a_night"
            ),
            models.UniqueConstraint(
                fields=["state"], condition=models.Q(state="running"), name="fit_run_one_at_a_time"
            ),
            models.CheckConstraint(
                condition=models.Q(state="running", finished_at__isnull=True)
                | (~models.Q(state="running") & models.Q(finished_at__isnull=False)),
                name="fit_run_ended_has_a_time",
            ),
        ]

    def __str__(self) -> str:
        return f"fit of {self.day}"


class FitChunk(models.Model):
    """The machines of one region in one run: what one worker fits in one go.

    A worker takes a chunk by compare-and-set on its state and `attempt`. What it writes is kept
    only if the attempt is still its own, so that a worker believed dead cannot write over another.
    """

    class State(models.TextChoices):
        WAITING = "waiting", "waiting"
        TAKEN = "taken", "being fitted"
        DONE = "done", "done"
        FAILED = "failed", "failed"

    run = models.ForeignKey(FitRun, on_delete=models.CASCADE, related_name="chunks")
    number = models.PositiveSmallIntegerField()
    warehouse = models.ForeignKey(
        Site,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="The nearest warehouse; empty: none is known.",
    )
    machines = ArrayField(models.BigIntegerField(), help_text="Keys of the machines fitted.")
    columns = models.PositiveIntegerField(default=0)
    intervals = models.PositiveIntegerField(default=0)
    state = models.CharField(max_length=8, choices=State.choices, default=State.WAITING)
    attempt = models.PositiveSmallIntegerField(default=0)
    doing = models.CharField(max_length=80, blank=True, help_text="What it is at, in words.")
    taken_at = models.DateTimeField(null=True, blank=True)
    heard_at = models.DateTimeField(
        null=True, blank=True, help_text="When its worker was last heard of."
    )
    finished_at = models.DateTimeField(null=True, blank=True)
    scores = models.JSONField(
        default=dict, blank=True, help_text="Sums of how the models before fared on sales since."
    )
    pools = models.JSONField(
        default=dict, blank=True, help_text="What new columns of the region start from."
    )
    error = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["run", "number", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["run", "number"], name="fit_chunk_number_in_run"),
            models.CheckConstraint(
                condition=models.Q(state="waiting")
                | models.Q(taken_at__isnull=False, heard_at__isnull=False, attempt__gte=1),
                name="fit_chunk_taken_by_somebody",
            ),
            models.CheckConstraint(
                condition=~models.Q(state="failed") | ~models.Q(error=""),
                name="fit_chunk_failed_says_why",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.run}, part {self.number}"
