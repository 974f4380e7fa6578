"""What a driver types at a machine and at the truck; each form is one act of the road."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from django import forms

from fleet.inventory.models import Lot
from fleet.machines.models import Product
from service.runs.actions import road
from service.runs.models import LoadLine

from .acts import ActForm, units
from .changeovers import AsLeftForm
from .road_columns import CountForm, FillForm, RemoveForm

FOUND_LINES = 3


class StartForm(ActForm):
    verb, said = "start", "Start of the day"


class ArriveForm(ActForm):
    verb, said = "arrive", "Arrival"
    nobody_here = forms.BooleanField(
        label="Somebody else is down as being here, and nobody is", required=False
    )

    def given(self) -> dict[str, Any]:
        return {"nobody_here": self.cleaned_data["nobody_here"]}


class LeaveForm(ActForm):
    verb, said = "leave", "Leaving"


class SkipForm(ActForm):
    verb, said = "skip", "Stop passed by"
    reason = forms.CharField(label="Why it is passed by", max_length=300)

    def given(self) -> dict[str, Any]:
        return {"reason": self.cleaned_data["reason"]}


class BagForm(ActForm):
    verb, said = "bag", "Bag"
    seal_number = forms.CharField(
        label="Seal number",
        max_length=40,
        help_text="As printed on the bag. No amount: it is counted later, by two.",
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters"}),
    )

    def given(self) -> dict[str, Any]:
        return {"seal_number": self.cleaned_data["seal_number"]}


class PickForm(ActForm):
    """What was picked for the truck, line by line; what is left empty is not picked yet."""

    verb, said = "pick", "Picked for the truck"

    def __init__(self, *args: Any, lines: Sequence[LoadLine], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.lines = lines
        others = [("", "nothing"), *Product.objects.filter(sold=True).values_list("pk", "name")]
        for line in lines:
            picked = units(f"{line.product}")
            picked.initial = line.wanted if line.picked is None else line.picked
            self.fields[f"picked_{line.pk}"] = picked
            # One list of choices for all lines: a query for each would be many.
            self.fields[f"other_{line.pk}"] = forms.TypedChoiceField(
                choices=others, coerce=int, empty_value=None, required=False, label="In its place"
            )
            self.fields[f"other_units_{line.pk}"] = units("Units of that")
            self.initial[f"other_{line.pk}"] = line.substitute_id
            self.initial[f"other_units_{line.pk}"] = line.substituted or None

    def rows(self) -> Iterable[tuple[LoadLine, tuple[forms.BoundField, ...]]]:
        """Each line with its inputs: picked, what was taken in its place, how many of that."""
        for line in self.lines:
            names = ("picked", "other", "other_units")
            yield line, tuple(self[f"{name}_{line.pk}"] for name in names)

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        for line in self.lines:
            other, n = given.get(f"other_{line.pk}"), given.get(f"other_units_{line.pk}")
            if bool(other) != bool(n):
                self.add_error(f"other_units_{line.pk}", "Say what was taken, and how many.")
            elif other and given.get(f"picked_{line.pk}") is None:
                self.add_error(f"picked_{line.pk}", "Say how many of it were there; 0 for none.")
        if not self.errors and not self._told(given):
            raise forms.ValidationError("Say of one line at least how many were picked.")
        return given

    def given(self) -> dict[str, Any]:
        said = self.cleaned_data
        told = self._told(said)
        others = Product.objects.in_bulk([said[f"other_{one.pk}"] for one in told])
        return {
            "lines": [
                road.Picked(
                    one,
                    said[f"picked_{one.pk}"],
                    others.get(said[f"other_{one.pk}"]),
                    said[f"other_units_{one.pk}"] or 0,
                )
                for one in told
            ]
        }

    def _told(self, said: Mapping[str, Any]) -> list[LoadLine]:
        return [one for one in self.lines if said.get(f"picked_{one.pk}") is not None]


class EndForm(ActForm):
    """The end of the day; the truck is counted whole or not at all."""

    verb, said = "end", "End of the day"

    def __init__(self, *args: Any, truck: Sequence[Mapping[str, Any]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.truck = truck
        for one in truck:
            self.fields[_truck_name(one)] = units(one["product_name"])
        for index in range(FOUND_LINES):
            self.fields[f"found_{index}"] = forms.ModelChoiceField(
                Product.objects.order_by("name", "pk"),
                label=f"Other product found {index + 1}",
                required=False,
                empty_label="none",
            )
            self.fields[f"found_units_{index}"] = units("Units")

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        names = [_truck_name(one) for one in self.truck]
        counted = [name for name in names if given.get(name) is not None]
        if counted or self._found(given):
            for name in names:
                if given.get(name) is None and name not in self.errors:
                    self.add_error(name, "Count this too; 0 if there is none.")
        for index in range(FOUND_LINES):
            product, n = given.get(f"found_{index}"), given.get(f"found_units_{index}")
            if product and n is None:
                self.add_error(f"found_units_{index}", "Say how many.")
            if n and not product:
                self.add_error(f"found_{index}", "Say which product these are.")
        return given

    def rows(self) -> list[tuple[Mapping[str, Any], forms.BoundField]]:
        return [(one, self[_truck_name(one)]) for one in self.truck]

    def others(self) -> list[tuple[forms.BoundField, forms.BoundField]]:
        return [(self[f"found_{i}"], self[f"found_units_{i}"]) for i in range(FOUND_LINES)]

    def given(self) -> dict[str, Any]:
        said = self.cleaned_data
        names = [(one, said.get(_truck_name(one))) for one in self.truck]
        found = self._found(said)
        if not found and all(n is None for _, n in names):
            return {"truck": None}
        products = Product.objects.in_bulk([one["product"] for one, _ in names])
        lots = Lot.objects.in_bulk([one["lot"] for one, _ in names if one["lot"]])
        counted = [
            road.OnTruck(products[one["product"]], n or 0, lots.get(one["lot"] or 0))
            for one, n in names
        ]
        return {"truck": [*counted, *(road.OnTruck(product, n) for product, n in found)]}

    @staticmethod
    def _found(given: Mapping[str, Any]) -> list[tuple[Product, int]]:
        pairs = (
            (given.get(f"found_{i}"), given.get(f"found_units_{i}")) for i in range(FOUND_LINES)
        )
        return [(product, n) for product, n in pairs if product and n]


class RoadAsLeftForm(AsLeftForm, ActForm):
    """How a column was left, told as an act of the road."""

    verb, said = "change_over", "Changeover"

    def given(self) -> dict[str, Any]:
        said = self.cleaned_data
        return {
            "changeover": self.changeover,
            "as_left": self.as_left(),
            "removed": self.removed(),
            **{
                name: said[name]
                for name in (
                    "test_vends_made",
                    "test_vends_passed",
                    "picture_matches",
                    "what_happened",
                    "mismatch_reason",
                )
            },
        }


RUN_ACTS: Mapping[str, type[ActForm]] = {form.verb: form for form in (PickForm, StartForm, EndForm)}
STOP_ACTS: Mapping[str, type[ActForm]] = {
    form.verb: form
    for form in (ArriveForm, CountForm, RemoveForm, FillForm, BagForm, LeaveForm, SkipForm)
}


def _truck_name(one: Mapping[str, Any]) -> str:
    return f"truck_{one['product']}_{one['lot'] or 0}"
