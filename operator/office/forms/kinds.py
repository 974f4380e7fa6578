"""Kinds of machine. Positions that are measured alike are typed once, with all their labels."""

import re
from collections.abc import Mapping, Sequence
from typing import Any, ClassVar

from django import forms
from django.db import models
from django.db.models import Q
from django.forms.utils import ErrorDict

from fleet.machines.models import DepthProgram, Kind, Position
from people.models import AuditEntry

from .base import RowForm

MOST_POSITIONS = 120
PARTS = ("", "In front of the beam", "Behind the beam", "The spiral")
GEOMETRY = (
    "style",
    "width_mm",
    "height_mm",
    "greatest_deep",
    "cradle_units",
    "front_depth_mm",
    "front_zero_mm",
    "front_pitch_mm",
    "front_notches",
    "front_mark_every",
    "front_runs",
    "rear_depth_mm",
    "rear_zero_mm",
    "rear_pitch_mm",
    "rear_notches",
    "rear_mark_every",
    "rear_runs",
    "turns",
    "spiral_pitch_mm",
)


class KindForm(RowForm):
    model = Kind
    columns = (
        "name",
        "vend_window_s",
        "drop_sensor",
        "refrigerated_volume_l",
        "energy_class",
        "bulk",
        "front_hides_label",
        "refrigerant",
        "refrigerant_charge_g",
        "sold_out_date_is_last_sale",
        "notes",
    )
    labels = {
        "bulk": "A bulk machine",
        "front_hides_label": "The front hides the package",
        "sold_out_date_is_last_sale": "Gives the last sale for the sold-out date",
    }

    def show_whole(
        self, kind: Kind, programs: Sequence[DepthProgram], groups: Sequence[Sequence[Position]]
    ) -> None:
        """Show the kind with all its parts: they stand on one page and are kept in one go."""
        parts = {
            "programs": [[getattr(one, name) for name in ProgramForm.columns] for one in programs],
            "positions": [
                [[one.label for one in group], [getattr(group[0], name) for name in GEOMETRY]]
                for group in groups
            ],
        }
        self.show(kind, {**self.shown_values(), "units": self.units, **parts})

    def trail(self) -> "models.QuerySet[AuditEntry]":
        """Of the parts too, also of those that are gone."""
        kind = self._row.pk
        found = Q(object_type=Kind._meta.label, object_id=kind)
        for part in (DepthProgram, Position):
            keys = list(part.objects.filter(kind=kind).values_list("pk", flat=True))
            its = Q(object_id__in=keys) | Q(before__kind_id=kind) | Q(after__kind_id=kind)
            found |= Q(object_type=part._meta.label) & its
        return AuditEntry.objects.filter(found).select_related("actor")


class PartForm(RowForm):
    """A part of a kind. One that stands is removed by clearing what it is known by."""

    known_by: ClassVar[str]

    def show(self, row: models.Model, values: Mapping[str, Any]) -> None:
        """The kind's own form stands for the parts, too: they change places as others come."""

    def is_left_out(self) -> bool:
        """Whether it was never filled in, or its name or labels were cleared."""
        known = self.data.get(self.add_prefix(self.known_by), "").strip()
        return not known and (self.row is not None or not self.has_changed())

    def full_clean(self) -> None:
        if self.is_bound and self.is_left_out():
            self._errors, self.cleaned_data = ErrorDict(), {}
            return
        super().full_clean()


class ProgramForm(PartForm):
    model = DepthProgram
    columns = ("name", "deep", "cycle_s", "run_on_s")
    known_by = "name"


class PositionsForm(PartForm):
    """Positions of one geometry."""

    model = Position
    known_by = "names"
    columns = GEOMETRY
    labels = {
        "width_mm": "Inner width",
        "height_mm": "Inner height",
        "greatest_deep": "Most products deep",
        "cradle_units": "In the cradle, each",
        "front_runs": "Front count runs",
        "rear_runs": "Rear count runs",
        "front_mark_every": "Front mark every",
        "rear_mark_every": "Rear mark every",
    }
    names = forms.CharField(
        label="Labels",
        help_text="All positions measured so, as in: 1-9, or 1F, 2F, 3F. Cleared: removed.",
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.order_fields(["names", *self.columns])

    def parts(self) -> list[tuple[str, list[forms.BoundField], bool]]:
        """The inputs by what they are about, in the order a tape measure goes.

        The last says whether to lay them open: what a stored position does not have stays folded.
        """
        found: dict[str, list[forms.BoundField]] = {name: [] for name in PARTS}
        for name in self.fields:
            found[_part(name)].append(self[name])
        return [
            (part, inputs, self.row is None or any(_says_something(one) for one in inputs))
            for part, inputs in found.items()
        ]

    def clean_names(self) -> list[str]:
        labels = labels_of(self.cleaned_data["names"])
        if len(labels) > MOST_POSITIONS:
            raise forms.ValidationError(f"at most {MOST_POSITIONS} positions in a kind")
        return labels


def _says_something(bound: forms.BoundField) -> bool:
    # Marks every third notch are filled in for every rail, even for one that is not there.
    return bool(bound.errors) or (
        not bound.name.endswith("_mark_every") and bound.value() not in (None, "")
    )


def _part(name: str) -> str:
    if name.startswith("front_"):
        return "In front of the beam"
    if name.startswith("rear_"):
        return "Behind the beam"
    return "The spiral" if name in ("turns", "spiral_pitch_mm") else ""


def labels_of(text: str) -> list[str]:
    """`1-3, 5F` -> `1 2 3 5F`. What is no span is a label as it stands."""
    found: list[str] = []
    for part in re.split(r"[,;\s]+", text.strip()):
        span = re.fullmatch(r"(\D*)(\d+)-(\D*)(\d+)", part)
        if span and span[3] in ("", span[1]) and int(span[2]) <= int(span[4]):
            last = min(int(span[4]), int(span[2]) + MOST_POSITIONS)
            found += [f"{span[1]}{number}" for number in range(int(span[2]), last + 1)]
        elif part:
            found.append(part)
    return found


def names_said(labels: Sequence[str]) -> str:
    """The labels in one line; whole numbers in a row as a span."""
    if len(labels) > 2 and all(label.isdecimal() for label in labels):
        numbers = [int(label) for label in labels]
        if numbers == list(range(numbers[0], numbers[0] + len(numbers))):
            return f"{numbers[0]}-{numbers[-1]}"
    return ", ".join(labels)


def groups_of(positions: Sequence[Position]) -> list[list[Position]]:
    """Positions that share a geometry, in the order of their first."""
    found: dict[tuple[Any, ...], list[Position]] = {}
    for position in positions:
        key = tuple(getattr(position, name) for name in GEOMETRY)
        found.setdefault(key, []).append(position)
    return list(found.values())


def in_order(labels: Sequence[str], stored: Sequence[str]) -> list[str]:
    """Labels as they stood before, new ones after them by their numbers."""
    place = {label: index for index, label in enumerate(stored)}
    return sorted(labels, key=lambda label: (place.get(label, len(place)), _natural(label)))


def _natural(label: str) -> list[tuple[int, int | str]]:
    parts = re.findall(r"\d+|\D+", label)
    return [(0, int(part)) if part.isdecimal() else (1, part) for part in parts]
