"""What every form of the road is: one act under a key of its own, told once however often sent."""

import uuid
from datetime import datetime
from typing import Any, ClassVar

from django import forms
from django.utils import timezone

from service.runs.actions import road

from .changeovers import NUMBER

MOST_UNITS = 9999


class MomentField(forms.Field):
    """A moment with its offset, as scripts write it; nothing where no script ran."""

    def to_python(self, value: Any) -> datetime | None:
        if not value:
            return None
        try:
            moment = datetime.fromisoformat(str(value))
        except ValueError as error:
            raise forms.ValidationError(f"{value} is no moment") from error
        if timezone.is_naive(moment):
            raise forms.ValidationError(f"{value} has no offset from UTC")
        return moment


def units(label: str) -> forms.IntegerField:
    """So many products, typed with a thumb; may be left empty."""
    return forms.IntegerField(
        label=label,
        min_value=0,
        max_value=MOST_UNITS,
        required=False,
        widget=forms.TextInput(attrs=NUMBER),
    )


class ActForm(forms.Form):
    """One act: under a key of its own, at a moment of the sender's clock.

    Sent twice, it counts once. Without a script the moment is when it reaches us.
    """

    verb: ClassVar[str]
    said: ClassVar[str]
    """What is kept of it, for the page that lists what waits to be sent."""

    key = forms.CharField(
        max_length=200, widget=forms.HiddenInput, initial=lambda: str(uuid.uuid4())
    )
    at = MomentField(required=False, widget=forms.HiddenInput)
    sent_at = MomentField(required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs.setdefault("auto_id", f"{self.verb}-%s")
        super().__init__(*args, **kwargs)

    def sent(self, now: datetime) -> road.Sent:
        given = self.cleaned_data
        return road.Sent(given["key"], given["at"] or now, given["sent_at"])

    def given(self) -> dict[str, Any]:
        """What the act takes beside who, when and where."""
        return {}
