"""What a driver types of a machine's columns: counted, filled, taken out."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, ClassVar

from django import forms

from fleet.inventory.models import Movement
from fleet.machines.models import Column, Product
from service.runs.actions import road

from .acts import ActForm, units

KINDS_OF_WASTE = [("", "onto the truck"), *(one for one in Movement.WasteReason.choices if one[0])]


class ColumnsForm(ActForm):
    """An act on several columns, an input for each; what is left empty is left out."""

    nothing_said: ClassVar[str]

    def __init__(self, *args: Any, columns: Sequence[Mapping[str, Any]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.columns = columns
        self.rows: dict[str, tuple[int, int | None]] = {}
        self.build()

    def build(self) -> None:
        raise NotImplementedError

    def add(self, name: str, column: Mapping[str, Any], product: int | None, label: str) -> None:
        self.fields[name] = units(label)
        self.rows[name] = (column["column"], product)

    def typed(self) -> list[tuple[str, int, int | None, int]]:
        """Name, column, product and units of each input that says something."""
        return [
            (name, column, product, self.cleaned_data[name])
            for name, (column, product) in self.rows.items()
            if self.cleaned_data.get(name) is not None
        ]

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        if not self.errors and all(given.get(name) is None for name in self.rows):
            raise forms.ValidationError(self.nothing_said)
        return given

    def bound_rows(self) -> Iterable[tuple[Mapping[str, Any], forms.BoundField]]:
        """Each column with its input, for the page."""
        by_key = {one["column"]: one for one in self.columns}
        for name, (column, _) in self.rows.items():
            yield by_key[column], self[name]

    def name_of(self, place: str) -> str | None:
        """The input that a refusal means by `lines.2.quantity`."""
        parts = place.split(".")
        if parts[0] != "lines" or len(parts) < 2 or not parts[1].isdecimal():
            return None
        lines = self.lines_named()
        index = int(parts[1])
        return lines[index] if index < len(lines) else None

    def lines_named(self) -> list[str]:
        return [name for name, *_ in self.typed()]


class CountForm(ColumnsForm):
    verb, said = "count", "Count"
    nothing_said = "Count at least one column."

    def build(self) -> None:
        for one in self.columns:
            if one["product"] is not None:
                name = f"count_{one['column']}"
                self.add(name, one, one["product"], f"Found in {_called(one)}")

    def given(self) -> dict[str, Any]:
        found = Column.objects.in_bulk([column for _, column, _, _ in self.typed()])
        return {"lines": [road.Counted(found[column], n) for _, column, _, n in self.typed()]}


class FillForm(ColumnsForm):
    verb, said = "fill", "Fill"
    nothing_said = "Say how many went in, of one column at least."

    def build(self) -> None:
        for one in self.columns:
            if one["product"] is not None:
                name = f"fill_{one['column']}"
                self.add(name, one, one["product"], f"Put into {_called(one)}")
                self.fields[name].initial = one["suggested"] or None

    def typed(self) -> list[tuple[str, int, int | None, int]]:
        # Nothing put in is no fill: a zero is how a thumb takes a suggestion away.
        return [one for one in super().typed() if one[3]]

    def given(self) -> dict[str, Any]:
        columns, products = _rows(self.typed())
        return {
            "lines": [
                road.Filled(columns[column], products[product or 0], n)
                for _, column, product, n in self.typed()
            ]
        }


class RemoveForm(ColumnsForm):
    verb, said = "remove", "Taken out"
    nothing_said = "Say how many came out, of one column at least."
    waste_reason = forms.ChoiceField(
        label="Where they went", choices=KINDS_OF_WASTE, required=False
    )

    def build(self) -> None:
        for one in self.columns:
            held = [(one["product"], one["product_name"])] if one["product"] else []
            others = [(other["product"], other["product_name"]) for other in one["others"]]
            for product, called in [*held, *others]:
                self.add(f"remove_{one['column']}_{product}", one, product, called)

    def typed(self) -> list[tuple[str, int, int | None, int]]:
        return [one for one in super().typed() if one[3]]

    def given(self) -> dict[str, Any]:
        columns, products = _rows(self.typed())
        why = self.cleaned_data["waste_reason"]
        return {
            "lines": [
                road.Removed(columns[column], products[product or 0], n, why)
                for _, column, product, n in self.typed()
            ]
        }


def _called(column: Mapping[str, Any]) -> str:
    return f"column {column['position']}"


def _rows(
    typed: Iterable[tuple[str, int, int | None, int]],
) -> tuple[dict[int, Column], dict[int, Product]]:
    lines = list(typed)
    return (
        Column.objects.in_bulk([column for _, column, _, _ in lines]),
        Product.objects.in_bulk([product for _, _, product, _ in lines if product]),
    )
