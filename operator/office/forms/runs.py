"""What the board asks: move a stop, insert one, take one off, make a run by hand."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django import forms
from django.db.models import Prefetch
from django.utils import timezone

from fleet.machines.models import Machine, Placement
from people.models import Business
from service.runs.models import DriverProfile, Run, Stop, Vehicle
from service.runs.queries.planned import ShownRun

ANYWHERE = ""
STANDS_AT = Placement.objects.filter(ends_at__isnull=True, site__isnull=False).select_related(
    "site"
)


def _open(runs: Sequence[ShownRun]) -> list[ShownRun]:
    return [one for one in runs if one.run.state != Run.State.ENDED]


def _name(one: ShownRun) -> str:
    return f"{one.run.vehicle.name} · {one.run.driver}"


class MoveForm(forms.Form):
    """Which stop goes behind which. A drag over the drawing fills in the same two inputs."""

    stop = forms.ChoiceField(label="Move")
    to = forms.ChoiceField(label="To")

    def __init__(self, *args: Any, runs: Sequence[ShownRun], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._runs = {one.run.pk: one for one in _open(runs)}
        self._stops: dict[str, Stop] = {}
        froms: list[Any] = []
        to: list[Any] = []
        for one in self._runs.values():
            movable = [
                shown
                for shown in one.stops
                if shown.stop.state == Stop.State.PLANNED and not shown.stop.locked
            ]
            self._stops |= {str(shown.stop.pk): shown.stop for shown in movable}
            named = [
                (str(s.stop.pk), f"{s.place} {s.stop.machine} · {s.stop.site}") for s in movable
            ]
            if named:
                froms.append((_name(one), named))
            behind = [
                (f"{one.run.pk}-{s.stop.pk}", f"after {s.place} {s.stop.machine}")
                for s in one.stops
            ]
            to.append(
                (_name(one), [(f"{one.run.pk}-0", f"first of {one.run.vehicle.name}"), *behind])
            )
        self.fields["stop"].choices = [("", "choose a stop"), *froms]  # type: ignore[attr-defined]
        self.fields["to"].choices = [("", "choose where"), *to]  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        stop, to = given.get("stop"), given.get("to")
        if stop and to and to.endswith(f"-{stop}"):
            self.add_error("to", "A stop does not go behind itself.")
        return given

    @property
    def stop_moved(self) -> Stop:
        return self._stops[self.cleaned_data["stop"]]

    @property
    def run(self) -> Run:
        return self._runs[int(self.cleaned_data["to"].partition("-")[0])].run

    @property
    def position(self) -> int:
        """Its place on that run afterwards, from 1."""
        run, _, behind = self.cleaned_data["to"].partition("-")
        moved = self.stop_moved.pk
        others = [s.stop.pk for s in self._runs[int(run)].stops if s.stop.pk != moved]
        return 1 if behind == "0" else others.index(int(behind)) + 2


class InsertForm(forms.Form):
    """One more machine, where it costs least or on a run that is named."""

    machine = forms.ModelChoiceField(
        Machine.objects.filter(status=Machine.Status.IN_SERVICE).order_by("asset_tag", "pk"),
        label="Machine",
        empty_label="choose a machine",
    )
    run = forms.ChoiceField(label="On", required=False)

    def __init__(self, *args: Any, runs: Sequence[ShownRun], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._runs = {str(one.run.pk): one for one in _open(runs)}
        named = [(key, _name(one)) for key, one in self._runs.items()]
        if any(one.run.agreed for one in self._runs.values()):
            named.insert(0, (ANYWHERE, "the run where it costs least"))
        self.fields["run"].choices = named  # type: ignore[attr-defined]

    @property
    def on(self) -> Run | None:
        """The run it is to be put on; None for any of the day."""
        key = self.cleaned_data["run"]
        return self._runs[key].run if key else None

    @property
    def touched(self) -> list[int]:
        """The runs that it may change."""
        run = self.on
        agreed = [one.run.pk for one in self._runs.values() if one.run.agreed]
        return agreed if run is None else [run.pk]


class ReasonForm(forms.Form):
    """Why the day is changed; it stands in the trail."""

    reason = forms.CharField(label="Why", max_length=300)


class InsertedForm(ReasonForm):
    must_go = forms.BooleanField(
        label="It has to be visited, also when the day is planned anew",
        required=False,
        initial=True,
    )


class MachinesThere(forms.ModelMultipleChoiceField):
    """Machines by tag, each with the site where it stands: `R-1, Marl Street`."""

    def label_from_instance(self, machine: Any) -> str:
        return ", ".join([str(machine), *(str(one.site) for one in machine.stands_at)])


class ByHandForm(forms.Form):
    """A driver, machines in the order chosen, and hours where there is no shift."""

    driver = forms.ModelChoiceField(DriverProfile.objects.none(), empty_label="choose a driver")
    vehicle = forms.ModelChoiceField(
        Vehicle.objects.filter(active=True), required=False, empty_label="the driver's own"
    )
    machines = MachinesThere(
        Machine.objects.filter(status=Machine.Status.IN_SERVICE)
        .prefetch_related(Prefetch("placements", STANDS_AT, to_attr="stands_at"))
        .order_by("asset_tag", "pk"),
        widget=forms.SelectMultiple(attrs={"size": 10}),
        help_text="They are put on the run by tag; move them on the board afterwards.",
    )
    starts = forms.TimeField(
        required=False,
        widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"),
        help_text="Left empty: as the driver's shift begins.",
    )
    ends = forms.TimeField(
        required=False, widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M")
    )
    stands_for = {"starts_at": "starts", "ends_at": "ends"}

    def __init__(self, *args: Any, drivers: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["driver"].queryset = drivers  # type: ignore[attr-defined]

    def moment(self, field: str, on: Any) -> datetime | None:
        clock = self.cleaned_data[field]
        if clock is None:
            return None
        return timezone.make_aware(datetime.combine(on, clock), Business.the().time_zone)
