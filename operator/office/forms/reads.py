"""Audit reads: handed in, and decided about."""

from typing import Any

from django import forms

from fleet.machines.models import Machine
from fleet.sales.models import EpochDecision

LARGEST = 1024 * 1024


class ManyFilesInput(forms.ClearableFileInput):
    allow_multiple_selected = True


class ManyFiles(forms.FileField):
    """Any number of files, each checked by itself."""

    widget = ManyFilesInput

    def clean(self, data: Any, initial: Any = None) -> list[Any]:
        given = data if isinstance(data, (list, tuple)) else [data]
        if not given:
            return [super().clean(None, initial)]  # says that it is required
        return [super(ManyFiles, self).clean(one, initial) for one in given]


class UploadForm(forms.Form):
    files = ManyFiles(  # type: ignore[assignment]
        label="Audit files",
        allow_empty_file=True,
        help_text="As many as you like, as they came out of the machines.",
    )


class DecisionForm(forms.Form):
    """A decision about a read, with its reason."""

    reason = forms.CharField(label="Why", max_length=300)


class MatchForm(DecisionForm):
    field_order = ["machine", "reason"]
    machine = forms.ModelChoiceField(
        Machine.objects.order_by("asset_tag", "pk"), empty_label="choose a machine"
    )


class EpochForm(DecisionForm):
    field_order = ["device", "choice", "reason"]
    device = forms.CharField(widget=forms.HiddenInput)
    choice = forms.ChoiceField(label="Take its counters as", choices=EpochDecision.Choice.choices)
