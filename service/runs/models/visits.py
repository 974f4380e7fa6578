"""What was done on the road, by the driver's clock and by ours."""

from django.conf import settings
from django.contrib.postgres.constraints import ExclusionConstraint
from django.contrib.postgres.fields import RangeOperators
from django.core.serializers.json import DjangoJSONEncoder
from django.db import models
from django.db.models import F, Func
from django.db.models.functions import Coalesce

from fleet.inventory.models import Movement, StockCount
from fleet.machines.models import Changeover, Machine
from fleet.sales.models import AuditRead, Bag

from .depots import Vehicle
from .runs import Run, Stop


class Visit(models.Model):
    """A driver at a machine, from arriving to leaving, by the driver's clock.

    An empty end is still there. `ended_by` is when the next visitor found nobody, or the run's end:
    the visit was over by then, whenever the leaving is told.
    """

    stop = models.OneToOneField(
        Stop, null=True, blank=True, on_delete=models.PROTECT, related_name="visit"
    )
    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="visits")
    machine = models.ForeignKey(Machine, on_delete=models.PROTECT, related_name="visits")
    driver = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="visits"
    )
    vehicle = models.ForeignKey(Vehicle, on_delete=models.PROTECT, related_name="+")
    arrived_at = models.DateTimeField()
    arrival_told = models.BooleanField(
        default=False, help_text="Without it the time is that of the earliest act."
    )
    left_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-arrived_at", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["machine"],
                condition=models.Q(left_at__isnull=True, ended_by__isnull=True),
                name="visit_one_open_a_machine",
            ),
            models.CheckConstraint(
                condition=models.Q(left_at__isnull=True)
                | models.Q(left_at__gte=models.F("arrived_at")),
                name="visit_leaves_after_arriving",
            ),
            ExclusionConstraint(
                name="visit_one_at_a_time",
                expressions=[
                    ("machine", RangeOperators.EQUAL),
                    (
                        Func(
                            F("arrived_at"),
                            Coalesce("left_at", "ended_by"),
                            function="tstzrange",
                            template="%(function)s(%(expressions)s, '[)')",
                        ),
                        RangeOperators.OVERLAPS,
                    ),
                ],
            ),
        ]
        indexes = [models.Index(fields=["machine", "-arrived_at"], name="visit_of_machine")]

    def __str__(self) -> str:
        return f"{self.driver} at {self.machine}"


class RoadAct(models.Model):
    """One thing a driver did, as sent, with its answer. Every act that was accepted is kept.

    `client_at` is when it happened by the driver's device, `server_at` when it reached us.
    """

    class Verb(models.TextChoices):
        PICK = "pick", "picked for the truck"
        START = "start", "started"
        ARRIVE = "arrive", "arrived"
        READ = "read", "read the machine"
        COUNT = "count", "counted"
        REMOVE = "remove", "removed"
        FILL = "fill", "filled"
        CHANGE_OVER = "change_over", "changed over"
        BAG = "bag", "bagged the cash"
        LEAVE = "leave", "left"
        SKIP = "skip", "skipped"
        END = "end", "ended the day"

    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="acts")
    stop = models.ForeignKey(
        Stop, null=True, blank=True, on_delete=models.PROTECT, related_name="acts"
    )
    visit = models.ForeignKey(
        Visit, null=True, blank=True, on_delete=models.PROTECT, related_name="acts"
    )
    verb = models.CharField(max_length=11, choices=Verb.choices)
    actor = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    key = models.CharField(max_length=200, help_text="The sender's own, new for each act.")
    digest = models.CharField(max_length=64, help_text="SHA-256 of what was sent, hex.")
    client_at = models.DateTimeField()
    server_at = models.DateTimeField()
    sent_at = models.DateTimeField(
        null=True, blank=True, help_text="By the device's clock, when it was sent."
    )
    clock_off_s = models.IntegerField(
        null=True, blank=True, help_text="The device's clock ahead of ours (+) or behind it (-)."
    )
    flags = models.JSONField(default=list, encoder=DjangoJSONEncoder)
    payload = models.JSONField(default=dict, encoder=DjangoJSONEncoder)
    result = models.JSONField(default=dict, encoder=DjangoJSONEncoder)
    movements = models.ManyToManyField(Movement, blank=True, related_name="road_acts")
    counts = models.ManyToManyField(StockCount, blank=True, related_name="road_acts")
    read = models.ForeignKey(
        AuditRead, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    changeover = models.ForeignKey(
        Changeover, null=True, blank=True, on_delete=models.PROTECT, related_name="road_acts"
    )
    bag = models.OneToOneField(
        Bag, null=True, blank=True, on_delete=models.PROTECT, related_name="road_act"
    )

    class Meta:
        ordering = ["run", "client_at", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["actor", "key"], name="road_act_key_once"),
        ]
        indexes = [models.Index(fields=["stop", "client_at"], name="road_act_of_stop")]

    def __str__(self) -> str:
        return f"{self.get_verb_display()} at {self.client_at}"


class ServiceTime(models.Model):
    """How long visits to a machine take, as learned from the last of them."""

    machine = models.OneToOneField(Machine, on_delete=models.CASCADE, related_name="service_time")
    visits = models.PositiveIntegerField(default=0)
    minutes_median = models.DecimalField(max_digits=6, decimal_places=1)
    learned_at = models.DateTimeField()

    class Meta:
        ordering = ["machine", "pk"]

    def __str__(self) -> str:
        return f"{self.machine}: {self.minutes_median} min over {self.visits} visits"
