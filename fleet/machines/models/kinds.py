"""A kind of machine as the business measured it."""

from decimal import Decimal

from django.core.validators import MinValueValidator
from django.db import models

from .fields import LengthField, measured


class Kind(models.Model):
    """A make of machine as measured here: its timing and cold room; its positions hang on it."""

    class EnergyClass(models.TextChoices):
        """Classes of refrigerated vending machines in 10 CFR 431.292."""

        NONE = "", "not refrigerated"
        A = "A", "class A: a quarter or more of the front is clear"
        B = "B", "class B"
        COMBINATION_A = "combination A", "combination A"
        COMBINATION_B = "combination B", "combination B"

    name = models.CharField(max_length=80, unique=True)
    notes = models.TextField(blank=True)
    vend_window_s = models.DecimalField(
        max_digits=5,
        decimal_places=2,
        default=Decimal(15),
        validators=[MinValueValidator(Decimal("0.1"))],
        help_text="From motor start to giving up. About 15 s by common practice.",
    )
    drop_sensor = models.BooleanField(default=True)
    refrigerated_volume_l = models.DecimalField(
        max_digits=7, decimal_places=1, null=True, blank=True
    )
    energy_class = models.CharField(
        max_length=14, choices=EnergyClass.choices, default=EnergyClass.NONE, blank=True
    )
    bulk = models.BooleanField(
        default=False,
        help_text="Lets goods out loose and unsorted, so that a buyer cannot choose.",
    )
    front_hides_label = models.BooleanField(
        default=False, help_text="A buyer cannot read the package before paying."
    )
    refrigerant = models.CharField(
        max_length=12, blank=True, help_text="As its plate says, as in R-290 (ASHRAE 34)."
    )
    refrigerant_charge_g = models.DecimalField(
        max_digits=7,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(0))],
        help_text="As its plate says.",
    )
    sold_out_date_is_last_sale = models.BooleanField(
        default=False,
        help_text="Its audit files give the last sale where the standard has the sold-out date.",
    )
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["name", "pk"]

    def __str__(self) -> str:
        return self.name


class DepthProgram(models.Model):
    """What the board of a kind does when a selection is programmed for so many products deep."""

    kind = models.ForeignKey(Kind, on_delete=models.CASCADE, related_name="programs")
    name = models.CharField(max_length=40)
    deep = models.PositiveSmallIntegerField(validators=[MinValueValidator(1)])
    cycle_s = models.DecimalField(
        max_digits=6, decimal_places=2, help_text="Seconds for a full turn of the cradle."
    )
    run_on_s = models.DecimalField(
        max_digits=6, decimal_places=2, help_text="Seconds the motor runs on after a drop."
    )

    class Meta:
        ordering = ["kind", "deep", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["kind", "name"], name="program_name_in_kind"),
            models.CheckConstraint(
                condition=models.Q(deep__gte=1, cycle_s__gt=0, run_on_s__gte=0),
                name="program_figures_positive",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Position(models.Model):
    """A column's place in a kind.

    A stack lies before the centre beam, behind it, or on both sides.
    """

    class Style(models.TextChoices):
        STACK = "stack", "stacked column"
        SPIRAL = "spiral", "spiral"

    class Runs(models.TextChoices):
        OUTWARD = "outward", "away from the beam"
        INWARD = "inward", "toward the beam"

    kind = models.ForeignKey(Kind, on_delete=models.CASCADE, related_name="positions")
    label = models.CharField(max_length=10, help_text="As it is called inside the machine.")
    order = models.PositiveSmallIntegerField(
        default=0, help_text="From left to right, top to bottom."
    )
    style = models.CharField(max_length=8, choices=Style.choices, default=Style.STACK)
    width_mm = LengthField(help_text="Inner width of the column or the lane.")
    height_mm = LengthField(help_text="Inner height of the column or the shelf.")
    greatest_deep = models.PositiveSmallIntegerField(default=1, validators=[MinValueValidator(1)])
    cradle_units = models.PositiveSmallIntegerField(default=0)

    front_depth_mm = measured(
        help_text="Beam to the door. Empty: nothing lies in front of the beam."
    )
    front_zero_mm = measured(help_text="Beam to notch 0 of the front rail.")
    front_pitch_mm = measured()
    front_notches = models.PositiveSmallIntegerField(null=True, blank=True)
    front_mark_every = models.PositiveSmallIntegerField(null=True, blank=True, default=3)
    front_runs = models.CharField(max_length=8, choices=Runs.choices, blank=True)

    rear_depth_mm = measured(
        help_text="Beam to the back wall. Empty: nothing lies behind the beam."
    )
    rear_zero_mm = measured(help_text="Beam to notch 0 of the rear rail.")
    rear_pitch_mm = measured()
    rear_notches = models.PositiveSmallIntegerField(null=True, blank=True)
    rear_mark_every = models.PositiveSmallIntegerField(null=True, blank=True, default=3)
    rear_runs = models.CharField(max_length=8, choices=Runs.choices, blank=True)

    turns = models.PositiveSmallIntegerField(null=True, blank=True)
    spiral_pitch_mm = measured()

    class Meta:
        ordering = ["kind", "order", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["kind", "label"], name="position_label_in_kind"),
            models.CheckConstraint(
                # A comparison with NULL would pass a check, so what must be there is named first.
                condition=models.Q(
                    style="spiral",
                    turns__isnull=False,
                    turns__gte=1,
                    spiral_pitch_mm__isnull=False,
                )
                | (
                    models.Q(style="stack")
                    & (
                        models.Q(front_depth_mm__isnull=False)
                        | models.Q(rear_depth_mm__isnull=False)
                    )
                ),
                name="position_has_its_geometry",
                violation_error_message="A spiral needs its turns and pitch, a stack a front or a "
                "rear depth.",
            ),
            *(
                models.CheckConstraint(
                    condition=models.Q(**{f"{side}_depth_mm__isnull": True})
                    | models.Q(
                        **{
                            f"{side}_zero_mm__isnull": False,
                            f"{side}_pitch_mm__isnull": False,
                            f"{side}_notches__isnull": False,
                            f"{side}_notches__gte": 1,
                            f"{side}_mark_every__isnull": False,
                            f"{side}_mark_every__gte": 1,
                            f"{side}_runs__in": ["outward", "inward"],
                        }
                    ),
                    name=f"position_{side}_rail_whole",
                    violation_error_message=f"The {side} rail needs its zero, pitch, number of "
                    "notches, marks and which way the count runs.",
                )
                for side in ("front", "rear")
            ),
            models.CheckConstraint(
                condition=models.Q(greatest_deep__gte=1), name="position_deep_from_one"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.label}"
