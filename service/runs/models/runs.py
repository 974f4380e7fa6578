"""A driver's day, its stops, and what goes on the truck."""

from django.conf import settings
from django.core.serializers.json import DjangoJSONEncoder
from django.db import models

from fleet.machines.models import Column, Machine, Product, Site

from .depots import Depot, Vehicle
from .plans import DayPlan


class Run(models.Model):
    """One driver's day on one vehicle: planned, locked, loading, out, ended."""

    class State(models.TextChoices):
        PLANNED = "planned", "planned"
        LOCKED = "locked", "locked"
        LOADING = "loading", "loading"
        OUT = "out", "on the road"
        ENDED = "ended", "ended"

    plan = models.ForeignKey(
        DayPlan, null=True, blank=True, on_delete=models.CASCADE, related_name="runs"
    )
    date = models.DateField()
    driver = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="runs"
    )
    vehicle = models.ForeignKey(Vehicle, on_delete=models.PROTECT, related_name="runs")
    depot = models.ForeignKey(Depot, on_delete=models.PROTECT, related_name="runs")
    state = models.CharField(max_length=8, choices=State.choices, default=State.PLANNED)
    agreed = models.BooleanField(default=False, help_text="The driver sees only what is agreed.")
    planned_start = models.DateTimeField(help_text="Loading begins.")
    planned_end = models.DateTimeField()
    shift_ends = models.DateTimeField()
    planned_metres = models.PositiveIntegerField(default=0)
    started_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    note = models.TextField(blank=True)
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["date", "driver__name", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["date", "driver"],
                condition=models.Q(agreed=True),
                name="run_one_agreed_a_driver_and_day",
            ),
            models.UniqueConstraint(
                fields=["date", "vehicle"],
                condition=models.Q(agreed=True),
                name="run_one_agreed_a_vehicle_and_day",
            ),
            models.CheckConstraint(
                condition=models.Q(state__in=["planned", "locked", "loading"])
                | models.Q(state="out", started_at__isnull=False)
                | models.Q(state="ended", started_at__isnull=False, ended_at__isnull=False),
                name="run_state_has_its_times",
            ),
            models.CheckConstraint(
                condition=models.Q(state="planned") | models.Q(agreed=True),
                name="run_goes_on_once_agreed",
            ),
        ]
        indexes = [models.Index(fields=["driver", "date"], name="run_of_driver")]

    def __str__(self) -> str:
        return f"{self.driver}, {self.date}"


class Stop(models.Model):
    """A machine to visit on a run, where it is expected to stand, and why."""

    class State(models.TextChoices):
        PLANNED = "planned", "planned"
        ARRIVED = "arrived", "there"
        DONE = "done", "done"
        SKIPPED = "skipped", "skipped"

    run = models.ForeignKey(Run, on_delete=models.CASCADE, related_name="stops")
    sequence = models.PositiveSmallIntegerField()
    machine = models.ForeignKey(Machine, on_delete=models.PROTECT, related_name="stops")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="+")
    locked = models.BooleanField(default=False, help_text="Stays on this run and in its place.")
    state = models.CharField(max_length=8, choices=State.choices, default=State.PLANNED)
    planned_arrive = models.DateTimeField()
    planned_leave = models.DateTimeField()
    service_minutes = models.DecimalField(max_digits=6, decimal_places=1)
    must_go = models.BooleanField(default=False)
    reasons = models.JSONField(default=list, encoder=DjangoJSONEncoder)
    prize_minor = models.BigIntegerField(default=0, help_text="Margin saved by going, as planned.")
    load_volume_ml = models.PositiveIntegerField(default=0, help_text="What the visit brings.")
    load_weight_g = models.PositiveIntegerField(default=0)
    load_cases = models.PositiveIntegerField(default=0)
    skipped_because = models.CharField(max_length=300, blank=True)
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["run", "sequence", "pk"]
        constraints = [
            # Deferred: stops change places within one transaction.
            models.UniqueConstraint(
                fields=["run", "sequence"],
                name="stop_sequence_in_run",
                deferrable=models.Deferrable.DEFERRED,
            ),
            # A machine that was visited and breaks again may be visited again.
            models.UniqueConstraint(
                fields=["run", "machine"],
                condition=models.Q(state__in=["planned", "arrived"]),
                name="stop_machine_once_a_run",
            ),
            models.CheckConstraint(
                condition=~models.Q(state="skipped") | ~models.Q(skipped_because=""),
                name="stop_skipped_with_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.machine} at {self.site}"


class LoadLine(models.Model):
    """What goes on the truck: for one column of a stop where the need is known, else for the run.

    `wanted` is what the truck is to be given, `carried` what of the need it already holds.
    """

    class Basis(models.TextChoices):
        KNOWN = "known", "known from a read; packed for the machine"
        SERVICE_LEVEL = "service_level", "learned at the machine; carried at the service level"

    run = models.ForeignKey(Run, on_delete=models.CASCADE, related_name="load_lines")
    stop = models.ForeignKey(
        Stop, null=True, blank=True, on_delete=models.SET_NULL, related_name="load_lines"
    )
    column = models.ForeignKey(
        Column, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="+")
    basis = models.CharField(max_length=13, choices=Basis.choices)
    wanted = models.PositiveIntegerField()
    carried = models.PositiveIntegerField(default=0)
    picked = models.PositiveIntegerField(null=True, blank=True, help_text="Empty: not picked yet.")
    substitute = models.ForeignKey(
        Product,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="What was taken in its place.",
    )
    substituted = models.PositiveIntegerField(default=0)
    picked_at = models.DateTimeField(null=True, blank=True)
    picked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["run", "stop__sequence", "product__name", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["run", "stop", "column", "product"],
                nulls_distinct=False,
                name="load_line_once",
            ),
            models.CheckConstraint(
                condition=models.Q(substitute__isnull=True, substituted=0)
                | models.Q(substitute__isnull=False, substituted__gte=1, picked__isnull=False),
                name="load_line_substitute_counted",
            ),
            models.CheckConstraint(
                condition=models.Q(picked__isnull=True, picked_at__isnull=True)
                | models.Q(picked__isnull=False, picked_at__isnull=False),
                name="load_line_picked_when",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.wanted} × {self.product}"

    @property
    def short(self) -> int | None:
        """Units wanted that neither the product nor a substitute filled; None until picked."""
        if self.picked is None:
            return None
        return max(0, self.wanted - self.picked - self.substituted)
