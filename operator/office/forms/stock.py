"""Counting, moving and throwing away: a line for each product and lot of a place."""

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any

from django import forms
from django.http import QueryDict
from django.utils import timezone

from fleet.inventory.actions.moves import Item
from fleet.inventory.actions.stocktakes import Found
from fleet.inventory.models import Movement, StockLevel, StockPlace
from fleet.machines.models import Product, Site
from people.models import Business

from .changeovers import DayInput, number

MOST_NEW = 12
MINUTE = "%Y-%m-%dT%H:%M"
WASTE_REASONS = [("", "say why"), *[one for one in Movement.WasteReason.choices if one[0]]]


def each_valid(shown: Iterable[forms.Form]) -> bool:
    """Whether all of them are. Each is asked, so that each says what is wrong with it."""
    return sum(not form.is_valid() for form in shown) == 0


class MomentInput(forms.DateTimeField):
    """A moment to the minute in the business's own time; now, unless another is typed."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("help_text", "In the business's own time.")
        widget = forms.DateTimeInput(attrs={"type": "datetime-local"}, format=MINUTE)
        super().__init__(widget=widget, initial=self._now, **kwargs)

    @staticmethod
    def _now() -> str:
        return f"{timezone.localtime(timezone.now(), Business.the().time_zone):{MINUTE}}"

    def to_python(self, value: Any) -> Any:
        with timezone.override(Business.the().time_zone):
            return super().to_python(value)


class AtForm(forms.Form):
    """When it happened, and what else there is to say."""

    note = forms.CharField(max_length=300, required=False)

    def moment(self, field: str, now: datetime) -> datetime:
        """What was typed; within the minute that runs, this very moment.

        What was just done lies within that minute, and would else come after what follows it.
        """
        given: datetime = self.cleaned_data[field]
        return now if given == now.replace(second=0, microsecond=0) else given


class CountForm(AtForm):
    field_order = ["counted_at", "note", "whole"]
    counted_at = MomentInput(label="Counted at")
    whole = forms.BooleanField(
        label="All that is there was counted: what has no figure was not there", required=False
    )


class MoveForm(AtForm):
    field_order = ["to_place", "happened_at", "note"]
    to_place = forms.ModelChoiceField(
        StockPlace.objects.none(), label="To", empty_label="choose a place"
    )
    happened_at = MomentInput(label="Moved at")

    def __init__(self, *args: Any, place: StockPlace, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["to_place"].queryset = (  # type: ignore[attr-defined]
            StockPlace.objects.filter(kind__in=["warehouse", "truck"], active=True)
            .exclude(pk=place.pk)
            .order_by("kind", "name", "pk")
        )


class WasteForm(AtForm):
    field_order = ["waste_reason", "happened_at", "note"]
    waste_reason = forms.ChoiceField(label="Why", choices=WASTE_REASONS)
    happened_at = MomentInput(label="Thrown away at")


class WhyForm(forms.Form):
    """Why something is taken back."""

    note = forms.CharField(label="Why", max_length=300)


class LevelLine(forms.Form):
    """A figure beside one product and lot that a place holds."""

    quantity = number("Units", required=False)

    def __init__(self, *args: Any, level: StockLevel, verb: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.level = level
        said = f"{verb}: {level.product}" + (f", {level.lot}" if level.lot else "")
        self.fields["quantity"].widget.attrs["aria-label"] = said


class Lines:
    """A line for each level of a place, by the level's key, so that none is taken for another."""

    def __init__(
        self, levels: Sequence[StockLevel], posted: QueryDict | None, *, verb: str
    ) -> None:
        self.forms = [
            LevelLine(
                posted,
                prefix=f"level-{level.pk}",
                level=level,
                verb=verb,
                use_required_attribute=False,
            )
            for level in levels
        ]

    def are_valid(self) -> bool:
        return each_valid(self.forms)

    def tell_partly_counted(self) -> bool:
        """Whether a product is counted of which another lot has no figure; each such lot is told.

        A lot without a figure beside one that has one would be taken for gone.
        """
        counted = {level.product_id for level, _ in self.given()}
        partly = [
            form
            for form in self.forms
            if form.level.product_id in counted and form.cleaned_data.get("quantity") is None
        ]
        for form in partly:
            form.add_error("quantity", "Count this lot too; 0 where none is there.")
        return bool(partly)

    def given(self) -> list[tuple[StockLevel, int]]:
        """The levels beside which a figure stands."""
        return [
            (form.level, form.cleaned_data["quantity"])
            for form in self.forms
            if form.cleaned_data.get("quantity") is not None
        ]

    def items(self) -> list[Item]:
        """What is to be moved: the lots that figures stand beside."""
        return [Item(level.product, units, level.lot) for level, units in self.given() if units]

    def found(self) -> list[Found]:
        """What was counted: each lot by itself, and what bears none."""
        return [
            Found(
                level.product,
                units,
                level.lot.code if level.lot else "",
                level.lot.best_before if level.lot else None,
            )
            for level, units in self.given()
        ]


class NewLine(forms.Form):
    """Something found that the records do not tell of."""

    product = forms.ModelChoiceField(
        Product.objects.order_by("name", "pk"), required=False, empty_label="none"
    )
    counted = number("Counted", required=False)
    best_before = forms.DateField(label="Best before", required=False, widget=DayInput())
    code = forms.CharField(label="Lot, as printed", max_length=40, required=False)

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        if given.get("product") and given.get("counted") is None and not self.errors:
            self.add_error("counted", "Say how many.")
        if given.get("counted") is not None and not given.get("product") and not self.errors:
            self.add_error("product", "Say of which product.")
        return given


class NewLines:
    """Lines for what is not in the records: one to begin with, one more at each asking."""

    def __init__(self, posted: QueryDict | None, products: Sequence[Product]) -> None:
        said = posted.get("new-count", "") if posted else ""
        self.asked = posted is not None and posted.get("add") == "line"
        count = (int(said) if said.isdecimal() else 1) + self.asked
        many = max(1, min(count, MOST_NEW))
        self.forms = [self._line(index, posted, products) for index in range(many)]

    def _line(self, index: int, posted: QueryDict | None, products: Sequence[Product]) -> NewLine:
        prefix = f"new-{index}"
        kept: dict[str, Any] = {"prefix": prefix, "use_required_attribute": False}
        if posted is None or not self.asked:
            form = NewLine(posted, **kept)
        else:
            # One more was asked for: what is typed stays, and nothing is found fault with yet.
            first = {name: posted.get(f"{prefix}-{name}") for name in NewLine.base_fields}
            form = NewLine(initial=first, **kept)
        # Read once for all the lines.
        form.fields["product"].choices = [  # type: ignore[attr-defined]
            ("", "none"),
            *[(one.pk, str(one)) for one in products],
        ]
        return form

    def are_valid(self) -> bool:
        return each_valid(self.forms)

    def found(self) -> list[Found]:
        return [
            Found(
                form.cleaned_data["product"],
                form.cleaned_data["counted"],
                form.cleaned_data["code"],
                form.cleaned_data["best_before"],
            )
            for form in self.forms
            if form.cleaned_data.get("product")
        ]


class StoreForm(forms.Form):
    """A warehouse at a site of ours, or a truck."""

    kind = forms.ChoiceField(
        label="What it is", choices=[("truck", "a truck"), ("warehouse", "a warehouse")]
    )
    name = forms.CharField(label="Name of the truck", max_length=120, required=False)
    site = forms.ModelChoiceField(
        Site.objects.filter(purpose="warehouse"),
        label="Site of the warehouse",
        required=False,
        empty_label="none",
    )


class MovementFilter(forms.Form):
    """What movements are narrowed by."""

    reason = forms.ChoiceField(
        choices=[("", "any reason"), *Movement.Reason.choices], required=False
    )
    place = forms.ModelChoiceField(
        StockPlace.objects.exclude(kind="column").order_by("kind", "name", "pk"),
        label="From or to",
        required=False,
        empty_label="any place",
    )
    product = forms.ModelChoiceField(
        Product.objects.order_by("name", "pk"), required=False, empty_label="any product"
    )
    since = forms.DateField(label="From the day", required=False, widget=DayInput())
    until = forms.DateField(label="To the day", required=False, widget=DayInput())


class PeriodForm(forms.Form):
    """A first and a last day."""

    since = forms.DateField(label="From the day", widget=DayInput())
    until = forms.DateField(label="To the day", widget=DayInput())

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        if given.get("since") and given.get("until") and given["until"] < given["since"]:
            self.add_error("until", "This is before the first day.")
        return given


class LotFilter(forms.Form):
    """Up to which day lots are shown, and where."""

    until = forms.DateField(label="Best before, up to the day", required=False, widget=DayInput())
    kind = forms.ChoiceField(
        label="Where",
        required=False,
        choices=[
            ("", "anywhere"),
            ("warehouse", "in warehouses"),
            ("truck", "on trucks"),
            ("column", "in machines"),
        ],
    )
