"""Machines: what is looked for, and what is kept about one."""

from typing import Any

from django import forms

from fleet.machines.models import Kind, Machine, Product, Site, WaysOfPaying

from .base import RowForm
from .changeovers import DayInput


class FleetFilter(forms.Form):
    """What the fleet list is narrowed by."""

    search = forms.CharField(label="Tag, serial or site", required=False)
    site = forms.ModelChoiceField(Site.objects.all(), required=False, empty_label="any site")
    kind = forms.ModelChoiceField(Kind.objects.all(), required=False, empty_label="any kind")
    status = forms.ChoiceField(
        choices=[("", "any status"), *Machine.Status.choices], required=False
    )
    product = forms.ModelChoiceField(
        Product.objects.all(), label="Holds", required=False, empty_label="any product"
    )
    events = forms.BooleanField(label="with active events only", required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["search"].widget.attrs.update(type="search", autocomplete="off")


class MachineForm(RowForm):
    model = Machine
    columns = ("asset_tag", "serial", "board_serial", "status", "made_on", "notes")
    labels = {"board_serial": "Serial of the control board"}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["made_on"].widget = DayInput()


class NewMachineForm(MachineForm):
    kind = forms.ModelChoiceField(Kind.objects.all())


class PlacementForm(forms.Form):
    site = forms.ModelChoiceField(Site.objects.all(), empty_label="choose a site")
    spot = forms.CharField(label="Where at the site", max_length=100, required=False)
    starts_at = forms.DateTimeField(
        label="From",
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
        help_text="In the business's own time.",
    )


class WaysOfPayingForm(forms.Form):
    takes = forms.ChoiceField(label="It takes", choices=WaysOfPaying.Takes.choices)
    starts_on = forms.DateField(
        label="From", widget=DayInput(), help_text="The first day, by its site's calendar."
    )
