"""What the desk fills in about promises, days closed and webhooks."""

from datetime import time
from typing import Any

from django import forms

from fleet.machines.models import Site
from service.tickets.models import PromiseRule, WebhookTarget

from .base import RowForm
from .hours import windows_of


class RuleForm(RowForm):
    """A promise: for a new one its site and urgency too, which then stay."""

    model = PromiseRule
    columns = ("kind", "amount", "active")
    labels = {"kind": "What is promised", "amount": "Hours or days"}


class SiteRuleForm(RowForm):
    model = PromiseRule
    columns = ("site", "urgency", "kind", "amount")
    labels = {"kind": "What is promised", "amount": "Hours or days"}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        hosts = Site.objects.filter(purpose=Site.Purpose.HOST)
        self.fields["site"].queryset = hosts  # type: ignore[attr-defined]
        self.fields["site"].required = True
        self.fields["site"].help_text = ""


class HoursForm(forms.Form):
    hours = forms.CharField(
        label="Hours that count",
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="A line for each window, as in Mon-Fri 8:00-17:00.",
    )

    def clean_hours(self) -> list[tuple[int, time, time]]:
        try:
            found = windows_of(self.cleaned_data["hours"])
        except ValueError as error:
            raise forms.ValidationError(str(error)) from error
        return [(one["weekday"], one["opens"], one["closes"]) for one in found]

    stands_for = {"windows": "hours"}


class ClosedDayForm(forms.Form):
    day = forms.DateField(label="Day", widget=forms.DateInput(attrs={"type": "date"}))
    site = forms.ModelChoiceField(
        queryset=Site.objects.filter(purpose=Site.Purpose.HOST),
        label="At",
        required=False,
        empty_label="everywhere",
    )
    why = forms.CharField(label="Why", max_length=100)

    stands_for = {"date": "day"}


class WebhookForm(RowForm):
    """An address that hears of tickets."""

    model = WebhookTarget
    columns = ("name", "active")
    labels = {"name": "Name", "active": "In use"}
    field_order = ("name", "url", "events", "active")

    def __init__(self, *args: Any, row: WebhookTarget | None = None, **kwargs: Any) -> None:
        if row is not None:
            first = {"url": row.url, "events": row.events}
            kwargs["initial"] = first | kwargs.get("initial", {})
        super().__init__(*args, units="mm", row=row, **kwargs)
        self.fields["url"] = forms.CharField(
            label="Address",
            max_length=500,
            widget=forms.TextInput(attrs={"inputmode": "url", "autocomplete": "off"}),
            help_text="Starts with https:// and lies outside our own network.",
        )
        self.fields["events"] = forms.MultipleChoiceField(
            label="Hears of",
            choices=WebhookTarget.Event.choices,
            widget=forms.CheckboxSelectMultiple,
        )
        if row is None:
            del self.fields["active"]
        self.order_fields(self.field_order)

    def changes(self) -> dict[str, Any]:
        names = ("name", "url", "events", *(("active",) if "active" in self.fields else ()))
        return {name: self.cleaned_data[name] for name in names}
