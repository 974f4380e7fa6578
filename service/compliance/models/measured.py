"""What was measured at machines: heights and forces where they stand, energy over some days.

Nothing is changed or deleted; what was told by mistake is set aside and counts for nothing.
"""

from decimal import Decimal
from typing import Final

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from fleet.machines.models import Machine, Placement

HIGHEST_MM: Final = 3000
HIGH = [MaxValueValidator(HIGHEST_MM)]


def set_aside_says_why(name: str) -> models.CheckConstraint:
    """What is set aside says when, by whom and why; what is not says none of it."""
    return models.CheckConstraint(
        condition=models.Q(set_aside_at__isnull=True, set_aside_by__isnull=True, set_aside_why="")
        | (
            models.Q(set_aside_at__isnull=False, set_aside_by__isnull=False)
            & ~models.Q(set_aside_why="")
        ),
        name=name,
    )


class Measured(models.Model):
    """Who wrote it down when, and whether it was taken back."""

    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField()
    note = models.CharField(max_length=300, blank=True)
    set_aside_at = models.DateTimeField(null=True, blank=True)
    set_aside_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    set_aside_why = models.CharField(max_length=200, blank=True)

    class Meta:
        abstract = True


class AccessCheck(Measured):
    """How a machine can be reached and worked where it stands, measured on one day.

    An obstruction is whatever stands between the machine and somebody in a wheelchair.
    """

    class Approach(models.TextChoices):
        FORWARD = "forward", "from the front"
        SIDE = "side", "from the side"

    placement = models.ForeignKey(Placement, on_delete=models.PROTECT, related_name="access_checks")
    measured_at = models.DateTimeField()
    approach = models.CharField(max_length=7, choices=Approach.choices)
    obstruction_height_mm = models.PositiveSmallIntegerField(
        null=True, blank=True, validators=HIGH, help_text="Empty: nothing stands in the way."
    )
    obstruction_depth_mm = models.PositiveSmallIntegerField(null=True, blank=True, validators=HIGH)

    class Meta:
        verbose_name = "access check"
        ordering = ["-measured_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(
                    obstruction_height_mm__isnull=True, obstruction_depth_mm__isnull=True
                )
                | models.Q(obstruction_height_mm__isnull=False, obstruction_depth_mm__isnull=False),
                name="access_check_obstruction_whole",
                violation_error_message="Give both the height and the depth of what stands in "
                "the way, or neither.",
            ),
            set_aside_says_why("access_check_set_aside_says_why"),
        ]
        indexes = [
            models.Index(fields=["placement", "-measured_at"], name="access_check_of_placement")
        ]

    def __str__(self) -> str:
        return f"access to {self.placement}, {self.measured_at:%Y-%m-%d}"


class AccessMeasure(models.Model):
    """One part that a customer works or reaches into: its height, and the force it takes."""

    class Part(models.TextChoices):
        COIN_SLOT = "coin_slot", "coin slot"
        NOTE_SLOT = "note_slot", "note slot"
        CARD_READER = "card_reader", "card reader"
        BUTTONS_HIGHEST = "buttons_highest", "highest button"
        BUTTONS_LOWEST = "buttons_lowest", "lowest button"
        COIN_RETURN = "coin_return", "coin return"
        PRODUCT_DOOR = "product_door", "product door"

    access_check = models.ForeignKey(AccessCheck, on_delete=models.PROTECT, related_name="measures")
    part = models.CharField(max_length=16, choices=Part.choices)
    height_mm = models.PositiveSmallIntegerField(validators=HIGH)
    force_n = models.DecimalField(
        max_digits=5,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(0))],
        help_text="Newtons, by a force gauge; empty: not measured.",
    )

    class Meta:
        verbose_name = "access measure"
        ordering = ["access_check", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["access_check", "part"], name="access_measure_part_once"
            )
        ]

    def __str__(self) -> str:
        return f"{self.get_part_display()}, {self.height_mm} mm"


class EnergyReading(Measured):
    """What a machine used from one moment to another, by a meter at its plug."""

    machine = models.ForeignKey(Machine, on_delete=models.PROTECT, related_name="energy_readings")
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    kwh = models.DecimalField(
        "energy (kWh)",
        max_digits=9,
        decimal_places=3,
        validators=[MinValueValidator(Decimal(0)), MaxValueValidator(Decimal(100_000))],
    )

    class Meta:
        verbose_name = "energy reading"
        ordering = ["-ends_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(ends_at__gt=models.F("starts_at")),
                name="energy_reading_ends_after_start",
                violation_error_message="It has to end after it began.",
            ),
            set_aside_says_why("energy_reading_set_aside_says_why"),
        ]
        indexes = [models.Index(fields=["machine", "-ends_at"], name="energy_reading_of_machine")]

    def __str__(self) -> str:
        return f"{self.machine}: {self.kwh.normalize():f} kWh"
