"""What a driver tells of tickets on the phone; each form is one act that may be sent late."""

from collections.abc import Mapping
from typing import Any

from django import forms

from fleet.machines.models import Column, Machine
from service.tickets.actions.told import Photo
from service.tickets.models import Symptom

from .acts import ActForm
from .reads import ManyFiles, ManyFilesInput
from .ticket_work import CloseForm
from .tickets import columns_of, long_text


def photos_field(*, required: bool = False) -> ManyFiles:
    return ManyFiles(
        label="Pictures",
        required=required,
        widget=ManyFilesInput(attrs={"accept": "image/*"}),
        help_text="Nobody's face, please. Without a signal they wait with the rest.",
    )


class PhotosMixin(forms.Form):
    """Reads what came with the act."""

    def photos(self) -> list[Photo]:
        return [Photo(one.name, one.read()) for one in self.cleaned_data.get("photos") or [] if one]


class TicketAct(ActForm):
    """An act that says no more than its own inputs."""

    def given(self) -> dict[str, Any]:
        moments = {"key", "at", "sent_at"}
        return {name: value for name, value in self.cleaned_data.items() if name not in moments}


class TakeAct(TicketAct):
    verb, said = "take", "Taken"


class OnSiteAct(TicketAct):
    verb, said = "on_site", "Work begun"


class HandBackAct(TicketAct):
    verb, said = "hand_back", "Handed back"
    reason = forms.CharField(label="Why you do not go", max_length=300)


class WaitAct(TicketAct):
    verb, said = "wait", "It waits"
    reason = forms.CharField(label="What it waits for", max_length=300)


class ResumeAct(TicketAct):
    verb, said = "resume", "It goes on"


class NoteAct(TicketAct):
    verb, said = "note", "Note"
    words = long_text("Note", rows=2)

    def given(self) -> dict[str, Any]:
        return {"said": self.cleaned_data["words"]}


class PhotoAct(PhotosMixin, ActForm):
    verb, said = "photo", "Pictures"

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["photos"] = photos_field(required=True)

    def given(self) -> dict[str, Any]:
        return {"photos": self.photos()}


class CloseAct(PhotosMixin, CloseForm, ActForm):
    """The work that ends the ticket, with its pictures."""

    verb, said = "close", "Closed"
    # What was seen on a phone may be hours old; the act is judged as things stand.
    seen_version = None  # type: ignore[assignment]

    def build(self) -> None:
        super().build()
        self.fields["photos"] = photos_field()

    def given(self) -> dict[str, Any]:
        return {**super().given(), "photos": self.photos()}


class ReportAct(PhotosMixin, ActForm):
    """Something is wrong with the machine that one stands before."""

    verb, said = "report", "Fault reported"
    symptom = forms.ModelChoiceField(
        Symptom.objects.filter(active=True).exclude(code="upkeep"),
        label="What is wrong",
        empty_label="choose what is wrong",
    )
    column = forms.ModelChoiceField(
        Column.objects.none(), required=False, empty_label="not one column"
    )
    words = long_text("What you see", rows=3, required=False)

    def __init__(self, *args: Any, machine: Machine, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["column"].queryset = columns_of(machine)  # type: ignore[attr-defined]
        self.fields["photos"] = photos_field()

    def given(self) -> dict[str, Any]:
        said = self.cleaned_data
        return {
            "symptom": said["symptom"],
            "column": said["column"],
            "said": said["words"],
            "photos": self.photos(),
        }


ACTS: Mapping[str, type[ActForm]] = {
    form.verb: form
    for form in (TakeAct, OnSiteAct, HandBackAct, WaitAct, ResumeAct, NoteAct, PhotoAct)
}
