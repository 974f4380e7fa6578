"""What was done, and what was read off by hand."""

from typing import Final

from django.conf import settings
from django.core.serializers.json import DjangoJSONEncoder
from django.db import models

from fleet.machines.models import Machine

from .plans import MaintenancePlan


class MaintenanceDone(models.Model):
    """Work of a plan, done at a machine. The next turn is counted from it.

    One that was written down by mistake is set aside, with who and why, and counts for nothing.
    """

    plan = models.ForeignKey(MaintenancePlan, on_delete=models.PROTECT, related_name="done")
    machine = models.ForeignKey(Machine, on_delete=models.PROTECT, related_name="maintenance_done")
    done_at = models.DateTimeField(help_text="By the clock of whoever did it.")
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="maintenance_done"
    )
    answers = models.JSONField(
        default=list,
        blank=True,
        encoder=DjangoJSONEncoder,
        help_text="Each item of the checklist as it stood then: item, answer (done, fault, "
        "not_done), said.",
    )
    note = models.TextField(blank=True)
    minutes = models.PositiveSmallIntegerField(null=True, blank=True)
    set_aside_at = models.DateTimeField(null=True, blank=True)
    set_aside_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    set_aside_why = models.CharField(max_length=200, blank=True)

    class Meta:
        verbose_name_plural = "maintenance done"
        ordering = ["-done_at", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["plan", "machine", "done_at"], name="maintenance_told_once"
            ),
            models.CheckConstraint(
                condition=models.Q(
                    set_aside_at__isnull=True, set_aside_by__isnull=True, set_aside_why=""
                )
                | (
                    models.Q(set_aside_at__isnull=False, set_aside_by__isnull=False)
                    & ~models.Q(set_aside_why="")
                ),
                name="maintenance_set_aside_says_why",
            ),
        ]
        indexes = [
            models.Index(fields=["machine", "plan", "-done_at"], name="maintenance_of_machine")
        ]

    def __str__(self) -> str:
        return f"{self.plan} at {self.machine}, {self.done_at:%Y-%m-%d}"


class Reading(models.Model):
    """One value that a person read off at a machine, kept in the unit of what was read."""

    class What(models.TextChoices):
        CABINET_C = "cabinet_c", "temperature in the cabinet"
        PRODUCT_C = "product_c", "temperature of a product"
        ROOM_C = "room_c", "temperature of the room"
        COMPRESSOR_A = "compressor_a", "current of the compressor"
        SUPPLY_V = "supply_v", "voltage of the supply"
        LEVEL_MM_M = "level_mm_m", "out of level"

    class Source(models.TextChoices):
        UPKEEP = "upkeep", "with maintenance"
        DESK = "desk", "the desk"
        API = "api", "the API"

    machine = models.ForeignKey(Machine, on_delete=models.PROTECT, related_name="readings")
    what = models.CharField(max_length=12, choices=What.choices)
    value = models.DecimalField(max_digits=8, decimal_places=2)
    taken_at = models.DateTimeField(help_text="By the clock of whoever took it.")
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    source = models.CharField(max_length=6, choices=Source.choices)
    done = models.ForeignKey(
        MaintenanceDone, null=True, blank=True, on_delete=models.CASCADE, related_name="readings"
    )
    usual = models.BooleanField(
        null=True, blank=True, help_text="Within the band of the plan; empty: the plan has none."
    )

    class Meta:
        ordering = ["-taken_at", "-pk"]
        indexes = [models.Index(fields=["machine", "what", "-taken_at"], name="reading_of_machine")]

    def __str__(self) -> str:
        return f"{self.get_what_display()} {self.value} {self.unit}"

    @property
    def unit(self) -> str:
        return UNITS[self.what]


UNITS: Final[dict[str, str]] = {
    Reading.What.CABINET_C: "°C",
    Reading.What.PRODUCT_C: "°C",
    Reading.What.ROOM_C: "°C",
    Reading.What.COMPRESSOR_A: "A",
    Reading.What.SUPPLY_V: "V",
    Reading.What.LEVEL_MM_M: "mm/m",
}
