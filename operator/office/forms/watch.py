"""What is asked of findings, and what the watch is held to."""

from typing import Any

from django import forms

from service.tickets.models import Symptom, Ticket
from service.watch.models import Finding, WatchLimits, WatchRule

from .base import RowForm

UNTOLD = ("", "as usual")


class FindingsForm(forms.Form):
    """Which findings are shown."""

    search = forms.CharField(
        label="Machine, site or product",
        required=False,
        widget=forms.TextInput(attrs={"type": "search", "autocomplete": "off"}),
    )
    kind = forms.ChoiceField(required=False, choices=[("", "every kind"), *Finding.Kind.choices])
    state = forms.ChoiceField(
        required=False, choices=[("", "open or with a ticket"), *Finding.State.choices]
    )


class ToTicketForm(forms.Form):
    symptom = forms.ModelChoiceField(
        Symptom.objects.filter(active=True).order_by("order", "words", "pk"),
        required=False,
        empty_label="the usual one",
    )
    urgency = forms.ChoiceField(required=False, choices=[UNTOLD, *Ticket.Urgency.choices])
    said = forms.CharField(
        label="What the ticket says",
        required=False,
        max_length=1000,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="Left empty it says what the finding says.",
    )


class DismissForm(forms.Form):
    reason = forms.ChoiceField(choices=Finding.Reason.choices)
    note = forms.CharField(required=False, max_length=300)
    teach = forms.BooleanField(
        label="Ask for stronger evidence the next time", required=False, initial=True
    )


class WatchLimitsForm(RowForm):
    model = WatchLimits
    columns = (
        "false_share",
        "missing_chance",
        "double_rate",
        "miscount",
        "cash_chance",
        "cash_off",
        "sold_out_loss",
        "warm_limit_c",
        "warm_minutes",
        "clock_minutes",
        "power_losses",
        "days_back",
        "quiet_days",
    )
    labels = {
        "false_share": "False among silent columns",
        "missing_chance": "Missing by chance",
        "double_rate": "Two for one, tolerated",
        "miscount": "Counts off by one",
        "cash_chance": "Short bags by chance",
        "cash_off": "A bag's usual difference",
        "sold_out_loss": "Lost a week while sold out",
        "warm_limit_c": "Warm from (°C)",
        "warm_minutes": "Warm for (minutes)",
        "clock_minutes": "Clock off by (minutes)",
        "power_losses": "Losses of power in a week",
        "days_back": "Looked back (days)",
        "quiet_days": "Quiet after a dismissal (days)",
    }


class WatchRuleForm(RowForm):
    model = WatchRule
    columns = ("kind", "strength", "looks", "symptom", "urgency", "active")
    labels = {"looks": "Seen by looks", "active": "In use"}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["urgency"] = forms.ChoiceField(
            label="Urgency", required=False, choices=[UNTOLD, *Ticket.Urgency.choices]
        )
