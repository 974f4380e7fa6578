"""What is asked of bags, bankings and change that lies out."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from django import forms
from django.forms.boundfield import BoundField
from django.http import QueryDict

from fleet.compute.coins import COINS, MIXED_MINOR, NOTES
from fleet.machines.models import Machine, Site
from fleet.sales.actions.counting import Counted
from fleet.sales.models import Bag, CashLimits, HostFloatLine, TubeFill
from fleet.sales.queries.bags import STATES
from fleet.sales.queries.bankings import Looked, still_to_bank, to_bank
from fleet.sales.queries.differences import BYS, MOST_DAYS
from people.models import Business, Person

from .base import RowForm
from .changeovers import DayInput
from .stock import AtForm, MomentInput, PeriodForm

DECIMAL = {"inputmode": "decimal", "autocomplete": "off"}
WHOLE = {"inputmode": "numeric", "autocomplete": "off", "size": "6"}
STATE_WORDS = {
    "sealed": "sealed, not received",
    "received": "received, not opened",
    "opened": "opened, not counted",
    "counted": "counted, not banked",
    "banked": "banked",
    "missing": "missing",
}


def amount(label: str, **more: Any) -> forms.DecimalField:
    return forms.DecimalField(
        label=label,
        min_value=0,
        max_digits=12,
        decimal_places=4,
        widget=forms.TextInput(attrs=DECIMAL),
        **more,
    )


def somebody(label: str) -> forms.ModelChoiceField:
    return forms.ModelChoiceField(
        Person.objects.filter(is_active=True).order_by("name", "pk"),
        label=label,
        required=False,
        empty_label="nobody",
    )


class BagsForm(forms.Form):
    search = forms.CharField(
        label="Seal or machine",
        required=False,
        widget=forms.TextInput(attrs={"type": "search", "autocomplete": "off"}),
    )
    which = forms.ChoiceField(
        required=False,
        choices=[
            ("", "all"),
            ("waiting", "waiting to be counted"),
            ("has-count", "counted, banked or not"),
            *[(one, STATE_WORDS[one]) for one in STATES],
        ],
    )


class BagStepForm(AtForm):
    """What happened to a bag before it was counted, or when it was lost."""

    field_order = ["what", "at", "second", "note"]
    what = forms.ChoiceField(label="What happened")
    at = MomentInput(label="When")
    second = somebody("Who saw it too")

    def __init__(self, *args: Any, choices: list[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["what"].choices = choices  # type: ignore[attr-defined]


class ReceiveForm(AtForm):
    """Which sealed bags came in."""

    field_order = ["bags", "at", "second", "note"]
    bags = forms.ModelMultipleChoiceField(
        Bag.objects.all(), label="Bags", widget=forms.CheckboxSelectMultiple
    )
    at = MomentInput(label="Received at")
    second = somebody("Who saw it too")


@dataclass(frozen=True)
class Pieces:
    """The inputs of one denomination; `weight` is None for notes."""

    words: str
    number: BoundField | None
    weight: BoundField | None


class BagCountForm(AtForm):
    """What was in a bag: as one amount, or by denomination, and who counted along."""

    field_order = ["amount", "counted_at", "second", "note"]
    amount = amount("Coins and notes together", required=False)
    counted_at = MomentInput(label="Counted at")
    second = somebody("Counted along")
    after = forms.IntegerField(required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, last: int = 0, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["after"].initial = last
        business = Business.the()
        self.places = business.currency_exponent
        self.coins = COINS.get(business.currency, ())
        self.notes = NOTES.get(business.currency, ())
        for value in self.notes:
            self.fields[f"note_{value}"] = self._number()
        for coin in self.coins:
            self.fields[f"coin_{coin.minor}"] = self._number()
            self.fields[f"weight_{coin.minor}"] = self._weight()
        if self.coins:
            self.fields["weight_mixed"] = self._weight()
        for bound in (self[name] for name in self.fields if self._is_piece(name)):
            bound.field.widget.attrs["aria-label"] = self._said(bound.name)

    def main(self) -> list[BoundField]:
        """The inputs besides those of denominations."""
        return [self[name] for name in self.fields if not self._is_piece(name)]

    def has_wrong_pieces(self) -> bool:
        """Whether an input of a denomination is refused, so that it must not stay folded away."""
        return any(self._is_piece(name) for name in self.errors)

    def pieces(self) -> Iterator[Pieces]:
        """Notes first, the largest first, then coins."""
        for value in sorted(self.notes, reverse=True):
            yield Pieces(f"notes of {self._worth(value)}", self[f"note_{value}"], None)
        for coin in sorted(self.coins, key=lambda one: -one.minor):
            yield Pieces(
                f"{coin.name}s, {self._worth(coin.minor)}",
                self[f"coin_{coin.minor}"],
                self[f"weight_{coin.minor}"],
            )
        if self.coins:
            names = [one.name + "s" for one in self.coins if one.minor in MIXED_MINOR]
            words = f"{', '.join(names[:-1])} and {names[-1]} mixed"
            yield Pieces(words, None, self["weight_mixed"])

    def lines(self) -> list[Counted]:
        """What was typed by denomination, for the action."""
        given = self.cleaned_data
        found = [
            Counted("note", "by_count", value, given[f"note_{value}"])
            for value in self.notes
            if given.get(f"note_{value}") is not None
        ]
        for coin in self.coins:
            if given.get(f"coin_{coin.minor}") is not None:
                found.append(Counted("coin", "by_count", coin.minor, given[f"coin_{coin.minor}"]))
            if given.get(f"weight_{coin.minor}") is not None:
                grams: Decimal = given[f"weight_{coin.minor}"]
                found.append(Counted("coin", "by_weight", coin.minor, weight_g=grams))
        if given.get("weight_mixed") is not None:
            found.append(Counted("coin", "by_weight", weight_g=given["weight_mixed"]))
        return found

    def given(self) -> dict[str, Any]:
        """What the action takes besides the lines and the moment."""
        return {name: self.cleaned_data[name] for name in ("amount", "second", "note", "after")}

    @staticmethod
    def _is_piece(name: str) -> bool:
        return name.startswith(("note_", "coin_", "weight_"))

    def _worth(self, minor: int) -> str:
        return f"{Decimal(minor).scaleb(-self.places):.{self.places}f}"

    def _said(self, name: str) -> str:
        kind, _, value = name.partition("_")
        if value == "mixed":
            return "grams of dimes, quarters and half dollars mixed"
        worth = self._worth(int(value))
        return {
            "note": f"number of notes of {worth}",
            "coin": f"number of coins of {worth}",
            "weight": f"grams of coins of {worth}",
        }[kind]

    @staticmethod
    def _number() -> forms.IntegerField:
        return forms.IntegerField(
            required=False, min_value=0, max_value=1_000_000, widget=forms.TextInput(attrs=WHOLE)
        )

    @staticmethod
    def _weight() -> forms.DecimalField:
        return forms.DecimalField(
            required=False,
            min_value=0,
            max_digits=9,
            decimal_places=3,
            widget=forms.TextInput(attrs={**DECIMAL, "size": "8"}),
        )


class ToBankForm(forms.Form):
    """Which of the counted bags are looked for; the words are those of the query."""

    search = forms.CharField(
        label="Seal, machine, site or driver",
        max_length=80,
        required=False,
        widget=forms.TextInput(attrs={"type": "search", "autocomplete": "off"}),
    )
    by = forms.ChoiceField(
        label="Days", required=False, choices=[("sealed", "sealed"), ("counted", "counted")]
    )
    since = forms.DateField(label="From the day", required=False, widget=DayInput())
    until = forms.DateField(label="To the day", required=False, widget=DayInput())

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        since, until = given.get("since"), given.get("until")
        if since and until and until < since:
            self.add_error("until", f"Give {since} or a later day.")
        if until and until == date.max:
            self.add_error("until", "Give an earlier day.")
        return given

    def looked(self) -> Looked:
        """What is looked for; everything where the form cannot be understood."""
        if not self.is_valid():
            return Looked()
        given = self.cleaned_data
        return Looked(
            search=given["search"].strip(),
            counted=given["by"] == "counted",
            since=given["since"],
            until=given["until"],
        )


class BankForm(AtForm):
    """Which counted bags go on which slip."""

    field_order = ["bags", "slip_number", "amount", "banked_at", "note"]
    bags = forms.MultipleChoiceField(label="Bags", widget=forms.CheckboxSelectMultiple)
    slip_number = forms.CharField(label="Number of the slip", max_length=40)
    amount = amount("Amount on the slip")
    banked_at = MomentInput(label="Taken to the bank at")

    def __init__(self, *args: Any, looked: Looked, every: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.here = to_bank(looked)
        # What was chosen stays chosen though it is not among those looked for any more.
        posted = self.data.getlist("bags") if isinstance(self.data, QueryDict) else []
        told = [one.partition("~")[0] for one in posted]
        keys = {int(one) for one in told if one.isdecimal() and len(one) <= 18}
        shown = {row.pk for row in self.here.rows}
        self.rows = [*still_to_bank(keys - shown), *self.here.rows]
        for row in self.rows:
            row.choice = f"{row.pk}~{row.left}"
            row.is_chosen = row.pk in keys or (every and row.pk in shown)
        self.fields["bags"].choices = [  # type: ignore[attr-defined]
            (row.choice, str(row)) for row in self.rows
        ]

    def others(self) -> list[BoundField]:
        """The inputs besides the bags, which the page draws itself."""
        return [self[name] for name in self.fields if name != "bags"]

    def number_chosen(self) -> int:
        return sum(row.is_chosen for row in self.rows)

    def held_by_chosen(self) -> Decimal:
        """What the chosen bags hold together."""
        return sum((row.left for row in self.rows if row.is_chosen), Decimal(0))

    def chosen(self) -> tuple[list[Bag], Decimal]:
        """The bags, and what the page said that they hold.

        Each stands with its amount, so that one counted anew meanwhile is no choice any more.
        """
        told = [one.partition("~") for one in self.cleaned_data["bags"]]
        held = sum((Decimal(amount) for _, _, amount in told), Decimal(0))
        return list(Bag.objects.filter(pk__in=[pk for pk, _, _ in told])), held


class ConfirmForm(forms.Form):
    amount = amount("Amount the bank received")
    confirmed_on = forms.DateField(label="On the day", widget=DayInput())
    reference = forms.CharField(label="The bank's reference", max_length=60, required=False)
    note = forms.CharField(max_length=300, required=False)


class TubeFillForm(AtForm):
    field_order = ["machine", "way", "amount", "at", "from_bag", "note"]
    machine = forms.ModelChoiceField(Machine.objects.order_by("asset_tag", "pk"))
    way = forms.ChoiceField(label="Change was", choices=TubeFill.Way.choices)
    amount = amount("Amount")
    at = MomentInput(label="When")
    from_bag = forms.ModelChoiceField(
        Bag.objects.all(),
        label="Out of the bag",
        to_field_name="seal_number",
        required=False,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
        help_text="The seal of a counted bag that is not banked; empty: other money.",
    )


class HostFloatForm(AtForm):
    field_order = ["site", "what", "amount", "at", "from_bag", "reference", "note"]
    site = forms.ModelChoiceField(Site.objects.order_by("name", "pk"))
    what = forms.ChoiceField(label="What happened", choices=HostFloatLine.What.choices)
    amount = amount("Amount, or what was counted")
    at = MomentInput(label="When")
    from_bag = forms.ModelChoiceField(
        Bag.objects.all(),
        label="Out of the bag",
        to_field_name="seal_number",
        required=False,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
        help_text="The seal of a counted bag that is not banked; empty: other money.",
    )
    reference = forms.CharField(
        max_length=60, required=False, help_text="Which refund, or the host's receipt."
    )


class CashLimitsForm(RowForm):
    model = CashLimits
    columns = (
        "to_receive_days",
        "to_count_days",
        "opened_days",
        "to_bank_days",
        "to_confirm_days",
    )
    labels = {
        "to_receive_days": "Sealed, to be received (days)",
        "to_count_days": "Received, to be counted (days)",
        "opened_days": "Opened, to be counted (days)",
        "to_bank_days": "Counted, to be banked (days)",
        "to_confirm_days": "Banked, to be confirmed (days)",
    }


class DifferencesForm(PeriodForm):
    by = forms.ChoiceField(label="By", required=False, choices=[(one, one) for one in BYS])

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        since, until = given.get("since"), given.get("until")
        if since and until and (until - since).days >= MOST_DAYS:
            last = since + timedelta(days=MOST_DAYS - 1)
            self.add_error(
                "until",
                f"These are {(until - since).days + 1} days; over and short is reckoned for "
                f"{MOST_DAYS} at most. From {since} give {last} or an earlier day.",
            )
        return given
