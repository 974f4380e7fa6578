"""What was measured at machines: heights and forces, energy; and what calorie signs say."""

from decimal import ROUND_HALF_UP, Decimal
from typing import Any, Final

from django import forms

from people.models import Business
from service.compliance.actions.measured import PartMeasured
from service.compliance.models import AccessCheck, AccessMeasure, LabelSettings

from .base import LengthInput, RowForm
from .changeovers import DayInput
from .stock import AtForm, MomentInput
from .upkeep import decimal

NEWTONS_PER_POUND: Final = Decimal("4.4482216152605")
"""A pound-force: 0.45359237 kg at 9.80665 m/s2, by definition."""
POUNDS, NEWTONS = "lbf", "N"


class LabelSettingsForm(RowForm):
    model = LabelSettings
    columns = ("registered", "registered_until", "contact")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["registered_until"].widget = DayInput()


class AccessForm(AtForm):
    """Every part has an input; those left empty were not measured or are not there."""

    stands_for = {"parts": "approach"}
    measured_at = MomentInput(label="Measured at")
    approach = forms.ChoiceField(
        label="One comes to it",
        choices=AccessCheck.Approach.choices,
        help_text="As the floor before it lets a wheelchair come: 30 by 48 in of clear floor.",
    )
    force_unit = forms.ChoiceField(label="Forces are in", choices=[(POUNDS, "lbf"), (NEWTONS, "N")])

    def __init__(self, *args: Any, units: str, **kwargs: Any) -> None:
        kwargs["initial"] = {
            "force_unit": POUNDS if units == Business.Units.INCHES else NEWTONS,
            **kwargs.get("initial", {}),
        }
        super().__init__(*args, **kwargs)
        for name, label in (
            ("obstruction_height_mm", "What stands in the way is high"),
            ("obstruction_depth_mm", "and deep"),
        ):
            self.fields[name] = _length(units, label)
        for part in AccessMeasure.Part:
            self.fields[f"height_{part.value}"] = _length(units, f"{part.label.capitalize()}, high")
            self.fields[f"force_{part.value}"] = decimal(
                f"{part.label.capitalize()}, force", required=False, min_value=0, max_value=1000
            )
        self.order_fields(
            [
                "measured_at",
                "approach",
                "obstruction_height_mm",
                "obstruction_depth_mm",
                "force_unit",
            ]
        )

    def about(self) -> list[forms.BoundField]:
        names = ("measured_at", "approach", "obstruction_height_mm", "obstruction_depth_mm")
        return [self[name] for name in (*names, "force_unit", "note")]

    def pairs(self) -> list[tuple[forms.BoundField, forms.BoundField]]:
        """Height and force of each part, side by side."""
        return [
            (self[f"height_{part.value}"], self[f"force_{part.value}"])
            for part in AccessMeasure.Part
        ]

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        for part in AccessMeasure.Part:
            height, force = given.get(f"height_{part.value}"), given.get(f"force_{part.value}")
            if force is not None and height is None and f"height_{part.value}" in given:
                self.add_error(f"height_{part.value}", "give its height too")
        heights = [given.get(f"height_{part.value}") for part in AccessMeasure.Part]
        if not self.errors and not any(height is not None for height in heights):
            self.add_error(None, "measure at least one part")
        return given

    def parts(self) -> list[PartMeasured]:
        """What was measured, in mm and newtons."""
        in_pounds = self.cleaned_data["force_unit"] == POUNDS
        found = []
        for part in AccessMeasure.Part:
            height = self.cleaned_data[f"height_{part.value}"]
            if height is None:
                continue
            force = self.cleaned_data[f"force_{part.value}"]
            if force is not None:
                newtons = force * NEWTONS_PER_POUND if in_pounds else force
                force = newtons.quantize(Decimal("0.1"), rounding=ROUND_HALF_UP)
            found.append(PartMeasured(part.value, _whole_mm(height) or 0, force))
        return found

    def obstruction(self) -> dict[str, int | None]:
        return {
            name: _whole_mm(self.cleaned_data[name])
            for name in ("obstruction_height_mm", "obstruction_depth_mm")
        }


class EnergyForm(AtForm):
    starts_at = MomentInput(label="From")
    ends_at = MomentInput(label="Until")
    kwh = decimal("Used (kWh)", required=False, min_value=0, max_value=100_000)
    meter_from = decimal(
        "or: the meter showed (kWh)", required=False, min_value=0, max_value=10_000_000
    )
    meter_until = decimal("and at the end (kWh)", required=False, min_value=0, max_value=10_000_000)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.order_fields(["starts_at", "ends_at", "kwh", "meter_from", "meter_until", "note"])


def _length(units: str, label: str) -> LengthInput:
    return LengthInput(
        units=units,
        label=label,
        required=False,
        widget=forms.TextInput(attrs={"inputmode": "text", "autocomplete": "off"}),
    )


def _whole_mm(length_mm: Decimal | None) -> int | None:
    if length_mm is None:
        return None
    return int(length_mm.quantize(Decimal(1), rounding=ROUND_HALF_UP))
