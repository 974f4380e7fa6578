"""What the dispatcher's board asks: what to show, whom to give a ticket, why it comes off."""

from datetime import date
from typing import Any

from django import forms

from service.runs.models import Depot
from service.runs.queries.dispatch import SHOWS, Filters
from service.tickets.models import Symptom, Ticket


class FilterForm(forms.Form):
    """What of the open tickets is shown; nonsense in an address shows all."""

    search = forms.CharField(
        label="Machine, site, words or reference",
        required=False,
        max_length=100,
        widget=forms.TextInput(attrs={"type": "search", "autocomplete": "off"}),
    )
    show = forms.ChoiceField(label="Show", choices=list(SHOWS.items()), required=False)
    urgency = forms.ChoiceField(
        label="Urgency", choices=[("", "any"), *Ticket.Urgency.choices], required=False
    )
    symptom = forms.ModelChoiceField(
        Symptom.objects.filter(active=True), required=False, empty_label="any", label="Symptom"
    )
    depot = forms.ModelChoiceField(
        Depot.objects.filter(active=True).select_related("site"),
        required=False,
        empty_label="all",
        label="Depot",
    )

    def filters(self) -> Filters:
        self.is_valid()
        given = self.cleaned_data
        symptom, depot = given.get("symptom"), given.get("depot")
        return Filters(
            search=given.get("search", ""),
            urgency=given.get("urgency", ""),
            symptom=symptom.pk if symptom else None,
            show=given.get("show") or "nobody",
            depot=depot.pk if depot else None,
        )


class GiveForm(forms.Form):
    """A ticket for a lane, as the page that shows the offer sends it."""

    ticket = forms.IntegerField(min_value=1, max_value=2**31)
    lane = forms.RegexField(r"^(run|driver)-\d{1,10}$")
    day = forms.DateField()
    seen = forms.RegexField(r"^\d{1,9}-[0-9a-f]{0,16}$", required=False)

    @property
    def to(self) -> tuple[str, int]:
        """`run` or `driver`, and its key."""
        what, _, key = self.cleaned_data["lane"].partition("-")
        return what, int(key)


class TakeBackForm(forms.Form):
    """A ticket that nobody goes to any more, and why."""

    ticket = forms.IntegerField(min_value=1, max_value=2**31)
    reason = forms.CharField(label="Why", max_length=300, initial="planned otherwise")
    seen = forms.RegexField(r"^\d{1,9}-[0-9a-f]{0,16}$", required=False)


class ViewForm(forms.Form):
    name = forms.CharField(label="Keep these filters as", max_length=40)


def day_asked(given: Any, today: date) -> date:
    """The day that `?day=` names; today for what is none."""
    try:
        found = date.fromisoformat(str(given.get("day", "")))
    except ValueError:
        return today
    return found if date(1970, 1, 1) <= found <= date(2200, 1, 1) else today
