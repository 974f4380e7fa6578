"""What is asked of settlements of cards: a period, a file, its columns, and terminals."""

from typing import Any

from django import forms

from fleet.machines.models import Machine
from fleet.sales.models import SettlementMapping
from fleet.sales.queries.cards import MOST_DAYS

from .changeovers import DayInput
from .commission import figure


class PeriodOfDaysForm(forms.Form):
    since = forms.DateField(label="From", widget=DayInput())
    until = forms.DateField(label="To", widget=DayInput())
    tolerance = figure("Differences up to", min_value=0, required=False)

    def clean(self) -> dict[str, Any]:
        given: dict[str, Any] = super().clean() or {}
        since, until = given.get("since"), given.get("until")
        if since and until and not 0 <= (until - since).days < MOST_DAYS:
            self.add_error("until", f"give a day from {since} on, at most {MOST_DAYS} days")
        return given

    def asked(self) -> dict[str, str]:
        """What an address says of the period, once it is valid."""
        return {name: str(value) for name, value in self.cleaned_data.items() if value is not None}


class TakeInForm(forms.Form):
    file = forms.FileField(label="File")
    mapping = forms.ModelChoiceField(
        SettlementMapping.objects.all(), label="Columns", empty_label=None
    )


class ColumnsForm(forms.ModelForm):
    class Meta:
        model = SettlementMapping
        fields = (
            "name",
            "date_column",
            "amount_column",
            "terminal_column",
            "fee_column",
            "reference_column",
            "day_order",
            "delimiter",
            "decimal_mark",
            "amounts_are_negative",
            "fees_are_negative",
        )

    def _post_clean(self) -> None:
        """The action writes the row and judges it; the form only reads what was typed."""

    def changes(self) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in self.Meta.fields}


class TerminalForm(forms.Form):
    code = forms.CharField(label="Terminal", max_length=60)
    machine = forms.ModelChoiceField(Machine.objects.order_by("asset_tag"), empty_label=None)
    starts_on = forms.DateField(label="Since", widget=DayInput())


class EndTerminalForm(forms.Form):
    ends_on = forms.DateField(label="First day it hangs there no more", widget=DayInput())


class CorrectTerminalForm(TerminalForm):
    ends_on = forms.DateField(
        label="First day it hung there no more", required=False, widget=DayInput()
    )
    why = forms.CharField(label="What was wrong", max_length=300)


class WithdrawTerminalForm(forms.Form):
    why = forms.CharField(label="Why it should never have been made", max_length=300)
