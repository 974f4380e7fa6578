"""Inputs that recur: lengths in the business's unit, and forms made from a row's columns."""

import re
from collections.abc import Iterable
from decimal import Decimal
from fractions import Fraction
from typing import Any, ClassVar

from django import forms
from django.db import models
from django.forms.models import fields_for_model, model_to_dict

from fleet.machines.models.fields import LengthField
from people.models import Business

from .shown import ShownForm

MM_PER_INCH = Decimal("25.4")
MICROMETRE = Decimal("0.001")
# Five places of an inch are a quarter of a micrometre: a length shown and sent back unchanged
# comes to the same stored micrometre.
INCH_PLACES = Decimal("0.00001")

_LENGTH = re.compile(
    r"(?:(?P<whole>\d+(?:[.,]\d+)?|[.,]\d+))?\s*(?:(?P<over>\d+)\s*/\s*(?P<under>\d+))?"
    r"\s*(?P<unit>mm|cm|in|\"|″)?"
)
_MM_PER = {
    "mm": Decimal(1),
    "cm": Decimal(10),
    "in": MM_PER_INCH,
    '"': MM_PER_INCH,
    "″": MM_PER_INCH,
}


def length_mm(text: str, units: str) -> Decimal:
    """A length as typed, in mm: `66.2`, `2 5/8`, `2.61 in`, `66 mm`.

    `units` is meant when none stands. Raises ValueError for what is no length.
    """
    match = _LENGTH.fullmatch(text.strip().lower())
    if match is None or not (match["whole"] or match["over"]):
        raise ValueError(text)
    whole, over = (match["whole"] or "").replace(",", "."), match["over"]
    if over and whole and "." in whole:
        raise ValueError(text)
    # "5/8" alone is read as a fraction, not as a 5 that a fraction follows.
    value = Fraction(whole or "0")
    if over:
        if int(match["under"]) == 0:
            raise ValueError(text)
        value += Fraction(int(over), int(match["under"]))
    mm = value * Fraction(_MM_PER[match["unit"] or units])
    return (Decimal(mm.numerator) / Decimal(mm.denominator)).quantize(MICROMETRE)


def in_units(mm: Decimal | float, units: str) -> str:
    """A stored length as figures in the business's unit, to be shown in an input."""
    stored = Decimal(str(mm))
    value = (
        stored
        if units == Business.Units.MILLIMETRES
        else (stored / MM_PER_INCH).quantize(INCH_PLACES)
    )
    return f"{value.normalize():f}"


class LengthInput(forms.CharField):
    """A length typed in the business's unit, or with a unit of its own; cleaned to mm."""

    def __init__(self, *, units: str, **kwargs: Any) -> None:
        self.units = units
        super().__init__(**kwargs)
        self.label = f"{self.label} ({units})"

    def prepare_value(self, value: Any) -> Any:
        return in_units(value, self.units) if isinstance(value, (Decimal, float)) else value

    def to_python(self, value: Any) -> Any:
        text = super().to_python(value)
        if not text:
            return None
        try:
            return length_mm(text, self.units)
        except ValueError as error:
            like = "2.61, 2 5/8 or 66.2 mm" if self.units == "in" else "66.2 or 2 5/8 in"
            raise forms.ValidationError(f"{text} is no length; write it like {like}") from error


class RowForm(ShownForm):
    """A form with an input for each named column of a row, whose `changes` go to an action."""

    model: ClassVar[type[models.Model]]
    columns: ClassVar[Iterable[str]]
    labels: ClassVar[dict[str, str]] = {}

    def __init__(
        self, *args: Any, units: str, row: models.Model | None = None, **kwargs: Any
    ) -> None:
        self.units = units
        self.row = row
        if row is not None:
            kwargs["initial"] = {
                **model_to_dict(row, list(self.columns)),
                **kwargs.get("initial", {}),
            }
        super().__init__(*args, **kwargs)
        made = fields_for_model(
            self.model, fields=list(self.columns), formfield_callback=self.input_for
        )
        self.fields.update(made)
        if row is not None:
            self.show(row, self.shown_values())

    def shown_values(self) -> dict[str, Any]:
        """What the inputs are filled with at first, as stored; lengths with the unit they are in.

        A number of inches must not be taken for millimetres once the business speaks those.
        """
        lengths = any(isinstance(one, LengthInput) for one in self.fields.values())
        return {**self.initial, "units": self.units if lengths else ""}

    def input_for(self, column: models.Field, **kwargs: Any) -> forms.Field | None:
        label = self.labels.get(column.name, said(column))
        if isinstance(column, LengthField):
            return LengthInput(
                units=self.units,
                label=label,
                help_text=column.help_text,
                required=not column.blank,
                widget=forms.TextInput(attrs={"inputmode": "text", "autocomplete": "off"}),
            )
        made = column.formfield(label=label, **kwargs)
        if isinstance(made, forms.DecimalField):
            # The column's own rules speak in the action; the input checks that it is a number.
            made.widget = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"})
        return made

    def changes(self) -> dict[str, Any]:
        """What the form says, by column."""
        return {name: self.cleaned_data[name] for name in self.columns}


def said(column: models.Field) -> str:
    """A column's name for a person: without its unit."""
    words = str(column.verbose_name).removesuffix(" mm")
    for unit, shown in ((" s", " (s)"), (" l", " (l)"), (" ml", " (ml)"), (" g", " (g)")):
        if column.name.endswith(unit.replace(" ", "_")):
            words = words.removesuffix(unit) + shown
    return words[:1].upper() + words[1:]
