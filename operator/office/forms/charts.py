"""Settings that a label or a measurement says to work."""

from typing import Any

from django import forms

from fleet.machines.models import ChartEntry, Kind, Package, Position

from .changeovers import number


class ChartForm(forms.Form):
    """A line of a kind's chart."""

    position = forms.ModelChoiceField(Position.objects.none(), empty_label="choose")
    package = forms.ModelChoiceField(Package.objects.all(), empty_label="choose")
    source = forms.ChoiceField(label="Where it is from", choices=ChartEntry.Source.choices)
    deep = number("Products deep", least=1)
    front_setting = number("Front setting", required=False)
    rear_setting = number("Rear setting", required=False)
    note = forms.CharField(max_length=200, required=False)

    def __init__(self, *args: Any, kind: Kind, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        positions = kind.positions.filter(style=Position.Style.STACK)
        self.fields["position"].queryset = positions  # type: ignore[attr-defined]
        self.fields["position"].label_from_instance = lambda one: one.label  # type: ignore[attr-defined]
