"""What is said about a ticket at the desk: the report, each act, the work that closes it."""

from collections.abc import Mapping
from typing import Any, ClassVar

from django import forms

from fleet.machines.models import Column, Machine, Site
from people.models import Person
from people.roles import Role
from service.tickets.actions.reporting import Wanted
from service.tickets.models import Refund, Symptom, Ticket

from .changeovers import AMOUNT
from .reads import ManyFiles

DESK = (Role.OWNER, Role.DISPATCHER)
GOES = (Role.DRIVER, *DESK)
STATES = [
    ("open", "open"),
    ("late", "open and late"),
    ("", "open and ended"),
    *Ticket.State.choices,
]


def people(*roles: Role) -> Any:
    """Those who work here in one of the roles, by name."""
    return Person.objects.filter(is_active=True, roles__overlap=list(roles)).order_by("name", "pk")


def long_text(label: str, *, rows: int = 3, **more: Any) -> forms.CharField:
    return forms.CharField(
        label=label, max_length=2000, widget=forms.Textarea(attrs={"rows": rows}), **more
    )


class TicketFilter(forms.Form):
    """Which tickets are looked for."""

    search = forms.CharField(
        required=False,
        label="Look for",
        widget=forms.TextInput(attrs={"type": "search", "autocomplete": "off"}),
    )
    state = forms.ChoiceField(choices=STATES, required=False)
    urgency = forms.ChoiceField(
        choices=[("", "any"), *Ticket.Urgency.choices], required=False, label="Urgency"
    )
    symptom = forms.ModelChoiceField(
        Symptom.objects.all(), required=False, label="What is wrong", empty_label="any"
    )
    site = forms.ModelChoiceField(
        Site.objects.order_by("name", "pk"), required=False, empty_label="any"
    )
    given_to = forms.ModelChoiceField(
        people(*GOES), required=False, empty_label="anybody", label="Given to"
    )
    nobody = forms.BooleanField(required=False, label="given to nobody")


class ReportForm(forms.Form):
    """A fault as it is told at the desk. Which columns there are follows from the machine."""

    machine = forms.ModelChoiceField(
        Machine.objects.order_by("asset_tag", "pk"), empty_label="choose a machine"
    )
    symptom = forms.ModelChoiceField(
        Symptom.objects.filter(active=True),
        label="What is wrong",
        empty_label="choose what is wrong",
    )
    column = forms.ModelChoiceField(
        Column.objects.none(), required=False, empty_label="not one column"
    )
    said = long_text("In the words of whoever told it", required=False)
    source = forms.ChoiceField(
        label="Told by",
        choices=[
            (one.value, one.label)
            for one in (Ticket.Source.HOST, Ticket.Source.DRIVER, Ticket.Source.DESK)
        ],
    )
    paid_how = forms.ChoiceField(label="Paid with", choices=Ticket.Paid.choices, required=False)
    urgency = forms.ChoiceField(
        label="Urgency",
        choices=[("", "as usual"), *Ticket.Urgency.choices],
        required=False,
    )
    priority = forms.TypedChoiceField(choices=Ticket.Priority.choices, coerce=int, required=False)
    owner = forms.ModelChoiceField(
        people(*DESK), label="Looked after by", required=False, empty_label="nobody yet"
    )
    contact_name = forms.CharField(label="Who told it", max_length=100, required=False)
    contact_reach = forms.CharField(
        label="Telephone, e-mail or address",
        max_length=200,
        required=False,
        help_text="Only to answer or to pay; it is deleted after the set time.",
    )
    amount = forms.DecimalField(
        label="Refund wanted", min_value=0, required=False, widget=forms.TextInput(attrs=AMOUNT)
    )
    method = forms.ChoiceField(
        label="Refund how", choices=[("", "no refund"), *Refund.Method.choices], required=False
    )

    def __init__(self, *args: Any, machine: Machine | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if machine is not None:
            self.fields["column"].queryset = columns_of(machine)  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        if given.get("amount") and not given.get("method"):
            self.add_error("method", "Say how the customer gets it back.")
        if given.get("method") and not given.get("amount"):
            self.add_error("amount", "Say how much is wanted back.")
        return given

    def given(self) -> dict[str, Any]:
        """What reporting takes."""
        said = dict(self.cleaned_data)
        amount, method = said.pop("amount"), said.pop("method")
        said["urgency"] = said["urgency"] or None
        said["priority"] = said["priority"] or 0
        return said | {"refund": Wanted(amount, method) if amount else None}


def columns_of(machine: Machine) -> Any:
    return (
        Column.objects.filter(machine=machine)
        .select_related("machine", "position")
        .order_by("position__order", "pk")
    )


class TicketActForm(forms.Form):
    """One act on a ticket: refused when somebody else was at it since the page was shown."""

    verb: ClassVar[str]
    button: ClassVar[str]
    seen_version = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, ticket: Ticket, **kwargs: Any) -> None:
        kwargs.setdefault("auto_id", f"{self.verb}-%s")
        kwargs["initial"] = {"seen_version": ticket.version, **kwargs.get("initial", {})}
        super().__init__(*args, **kwargs)
        self.ticket = ticket
        self.build()

    def build(self) -> None:
        """For those whose inputs follow from the ticket."""

    def given(self) -> dict[str, Any]:
        return dict(self.cleaned_data)


class GiveForm(TicketActForm):
    verb, button = "give", "Give it"
    to = forms.ModelChoiceField(
        people(*GOES), label="Who goes there", empty_label="choose a person"
    )


class TakeForm(TicketActForm):
    verb, button = "take", "I go there"


class OnSiteForm(TicketActForm):
    verb, button = "on_site", "Work has begun"


class ReasonForm(TicketActForm):
    reason = forms.CharField(label="Why", max_length=300)


class HandBackForm(ReasonForm):
    verb, button = "hand_back", "It is nobody's again"


class WaitForm(ReasonForm):
    verb, button = "wait", "Stop the clock"
    reason = forms.CharField(label="What it waits for", max_length=300)


class ResumeForm(TicketActForm):
    verb, button = "resume", "Let the clock run again"


class DropForm(ReasonForm):
    verb, button = "drop", "Drop it: nobody goes"


class ReopenForm(ReasonForm):
    verb, button = "reopen", "Open it again"


class NoteForm(TicketActForm):
    verb, button = "note", "Add the note"
    said = long_text("Note", rows=2)


class JoinForm(TicketActForm):
    verb, button = "join", "Join it"
    into = forms.ModelChoiceField(
        Ticket.objects.none(), label="The same fault as", empty_label="choose a ticket"
    )

    def build(self) -> None:
        rows = Ticket.objects.filter(machine=self.ticket.machine_id, state__in=Ticket.OPEN)
        into: Any = self.fields["into"]
        into.queryset = rows.exclude(pk=self.ticket.pk).select_related("machine", "symptom")
        into.label_from_instance = lambda one: f"{one.reference}, {one.symptom}"


class ChangeForm(TicketActForm):
    verb, button = "change", "Keep"
    symptom = forms.ModelChoiceField(
        Symptom.objects.filter(active=True), label="What is wrong", empty_label=None
    )
    column = forms.ModelChoiceField(
        Column.objects.none(), required=False, empty_label="not one column"
    )
    urgency = forms.ChoiceField(choices=Ticket.Urgency.choices)
    priority = forms.TypedChoiceField(choices=Ticket.Priority.choices, coerce=int)
    owner = forms.ModelChoiceField(
        people(*DESK), label="Looked after by", required=False, empty_label="nobody"
    )
    NAMES = ("symptom", "column", "urgency", "priority", "owner")

    def build(self) -> None:
        self.fields["column"].queryset = columns_of(self.ticket.machine)  # type: ignore[attr-defined]
        self.initial.update({name: self.ticket.serializable_value(name) for name in self.NAMES})

    def given(self) -> dict[str, Any]:
        said = self.cleaned_data
        return {
            "changes": {name: said[name] for name in self.NAMES},
            "seen_version": said["seen_version"],
        }


class RefundForm(TicketActForm):
    verb, button = "refund", "Ask for it"
    amount = forms.DecimalField(label="How much", min_value=0, widget=forms.TextInput(attrs=AMOUNT))
    method = forms.ChoiceField(label="How", choices=Refund.Method.choices)


class AttachForm(TicketActForm):
    verb, button = "attach", "Put it to the ticket"
    files = ManyFiles(  # type: ignore[assignment]
        label="Pictures or PDF",
        help_text="JPEG, PNG, WebP or PDF, each up to 5 MB.",
    )


class DetachForm(ReasonForm):
    verb, button = "detach", "Take it away"
    attachment = forms.IntegerField(widget=forms.HiddenInput)
    reason = forms.CharField(label="Why it is taken away", max_length=300)


class PayForm(forms.Form):
    paid_out_by = forms.CharField(
        label="Handed out by", max_length=100, required=False, help_text="Empty: the desk."
    )
    reason = forms.CharField(
        label="Why",
        max_length=300,
        required=False,
        help_text="Needed beyond a limit, or to refuse.",
    )


ACTS: Mapping[str, type[TicketActForm]] = {
    form.verb: form
    for form in (
        GiveForm,
        TakeForm,
        OnSiteForm,
        HandBackForm,
        WaitForm,
        ResumeForm,
        DropForm,
        ReopenForm,
        NoteForm,
        JoinForm,
        ChangeForm,
        RefundForm,
        AttachForm,
        DetachForm,
    )
}
