"""Planned maintenance: plans, turns, work written down, readings, calendar addresses."""

from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from typing import Any

from django import forms

from fleet.machines.models import Kind, Machine
from people.models import Business, Person
from people.roles import Role
from service.tickets.models import Symptom
from service.upkeep.actions import work
from service.upkeep.asked import CELSIUS, FAHRENHEIT, Asked, asked_of
from service.upkeep.models import CalendarAddress, MaintenancePlan, OwnTerms, Reading
from service.upkeep.models.work import UNITS

from .base import RowForm
from .changeovers import DayInput, number
from .runs_kept import only
from .stock import AtForm, MomentInput

WITHIN = [
    ("late", "late ones"),
    ("7", "within a week"),
    ("28", "within four weeks"),
    ("91", "within a quarter"),
    ("all", "all that is known"),
]
WHO = [("", "everybody"), ("mine", "mine"), ("nobody", "nobody's yet")]


def hands() -> Any:
    """Whoever goes to machines."""
    return Person.objects.filter(
        is_active=True, roles__overlap=[Role.OWNER, Role.DISPATCHER, Role.DRIVER]
    ).order_by("name", "pk")


def decimal(label: str, **more: Any) -> forms.DecimalField:
    """A figure that a thumb can type."""
    attrs = {"inputmode": "decimal", "autocomplete": "off"}
    return forms.DecimalField(label=label, widget=forms.TextInput(attrs=attrs), **more)


class DueFilter(forms.Form):
    search = forms.CharField(label="Machine, site or plan", required=False, max_length=100)
    within = forms.ChoiceField(label="Due", choices=WITHIN, required=False, initial="7")
    who = forms.ChoiceField(label="Whose", choices=WHO, required=False)
    plan = forms.ModelChoiceField(
        MaintenancePlan.objects.all(), required=False, empty_label="every plan"
    )
    kind = forms.ModelChoiceField(Kind.objects.all(), required=False, empty_label="every kind")


class PutOffForm(forms.Form):
    to = forms.DateField(
        label="To", widget=DayInput(), required=False, help_text="Empty: back to its own day."
    )
    why = forms.CharField(label="Why", max_length=200, required=False)


class GiveForm(forms.Form):
    to = forms.ModelChoiceField(
        Person.objects.none(), label="Who does it", required=False, empty_label="as the plan says"
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        only(self, "to", hands())


class PlanForm(RowForm):
    model = MaintenancePlan
    columns = (
        "name",
        "applies_to",
        "kind",
        "machine",
        "trigger",
        "every_days",
        "every_vends",
        "minutes",
        "notice_days",
        "needs_skill",
        "responsible",
        "starts_on",
        "grounds",
        "active",
    )
    labels = {
        "applies_to": "For",
        "trigger": "Comes again",
        "every_days": "Days",
        "every_vends": "Vends",
        "minutes": "Minutes it takes",
        "notice_days": "Notice (days)",
        "needs_skill": "Skill it asks for",
        "grounds": "Where the interval comes from",
        "starts_on": "Not before",
        "active": "In use",
    }

    def __init__(self, *args: Any, row: MaintenancePlan | None = None, **kwargs: Any) -> None:
        bands = {one.what: one for one in asked_of(row.readings_asked)} if row else {}
        more: dict[str, Any] = {}
        if row is not None:
            more = {
                "season_text": ", ".join(row.season_days),
                "checklist_text": "\n".join(row.checklist),
                "cautions_text": row.cautions,
            }
        for what, band in bands.items():
            more |= {f"ask_{what}": True, f"least_{what}": band.least, f"most_{what}": band.most}
        kwargs["initial"] = {**more, **kwargs.get("initial", {})}
        super().__init__(*args, row=row, **kwargs)
        only(self, "responsible", hands())
        rows = Machine.objects.exclude(status=Machine.Status.RETIRED).order_by("asset_tag", "pk")
        only(self, "machine", rows)
        for name, empty in (
            ("kind", "every kind"),
            ("machine", "every machine"),
            ("responsible", "the dispatchers"),
        ):
            self.fields[name].empty_label = empty  # type: ignore[attr-defined]
        self.fields["grounds"].help_text = ""  # its label says as much
        self.fields["starts_on"].widget = DayInput()
        self.fields["season_text"] = forms.CharField(
            label="Days of the year", required=False, help_text="As month-day: 05-01, 10-15."
        )
        self.fields["checklist_text"] = forms.CharField(
            label="Checklist, an item a line",
            required=False,
            widget=forms.Textarea(attrs={"rows": 7, "class": "tall"}),
        )
        self.fields["cautions_text"] = forms.CharField(
            label="Cautions",
            required=False,
            widget=forms.Textarea(attrs={"rows": 4}),
            help_text="Shown wherever this sends somebody to the machine.",
        )
        for what in UNITS:
            words = Reading.What(what).label
            self.fields[f"ask_{what}"] = forms.BooleanField(label=words, required=False)
            self.fields[f"least_{what}"] = decimal(f"{words}, least", required=False)
            self.fields[f"most_{what}"] = decimal(f"{words}, most", required=False)

    stands_for = {
        "season_days": "season_text",
        "checklist": "checklist_text",
        "cautions": "cautions_text",
    }

    def rest(self) -> list[forms.BoundField]:
        """The inputs of columns, and the days of the year beside them."""
        return [self[name] for name in (*self.columns[:7], "season_text", *self.columns[7:])]

    def readings(self) -> list[tuple[forms.BoundField, forms.BoundField, forms.BoundField, str]]:
        """What may be read, with its band and unit."""
        return [
            (self[f"ask_{what}"], self[f"least_{what}"], self[f"most_{what}"], unit)
            for what, unit in UNITS.items()
        ]

    def changes(self) -> dict[str, Any]:
        given = self.cleaned_data
        season = given["season_text"].replace(",", " ").split()
        return super().changes() | {
            "season_days": season,
            "checklist": given["checklist_text"].splitlines(),
            "cautions": given["cautions_text"].strip(),
            "readings_asked": [
                {"what": what, "least": given[f"least_{what}"], "most": given[f"most_{what}"]}
                for what in UNITS
                if given[f"ask_{what}"]
            ],
        }


class OwnTermsForm(forms.Form):
    machine = forms.ModelChoiceField(Machine.objects.none())
    every_days = number("Every so many days", least=1, required=False)
    every_vends = number("Every so many vends", least=1, required=False)
    left_out = forms.BooleanField(label="Left out", required=False)
    why = forms.CharField(max_length=200, help_text=str(OwnTerms._meta.get_field("why").help_text))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        rows = Machine.objects.exclude(status=Machine.Status.RETIRED).select_related("kind")
        only(self, "machine", rows.order_by("asset_tag", "pk"))


ANSWERS = [
    (work.DONE, "done"),
    (work.FAULT, "a fault"),
    (work.NOT_DONE, "not done"),
]


class RecordForm(AtForm):
    """The checklist of a plan, with its readings. Every item is answered by the thumb that did it:
    none is ticked beforehand."""

    at = MomentInput(label="Done at")
    minutes = number("Minutes it took", least=0, required=False)
    note = forms.CharField(max_length=2000, required=False, widget=forms.Textarea({"rows": 2}))

    def __init__(self, *args: Any, plan: MaintenancePlan, units: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.plan = plan
        self.asked: Sequence[Asked] = asked_of(plan.readings_asked)
        warm = FAHRENHEIT if units == Business.Units.INCHES else CELSIUS
        # Asked once for all items of the list.
        symptoms = Symptom.objects.filter(active=True)
        for index, item in enumerate(plan.checklist):
            self.fields[f"item_{index}"] = forms.ChoiceField(
                label=item,
                choices=ANSWERS,
                widget=forms.RadioSelect,
                error_messages={"required": "Say what became of it."},
            )
            self.fields[f"said_{index}"] = forms.CharField(
                label=f"{item}: what, or why not", required=False, max_length=300
            )
            self.fields[f"symptom_{index}"] = forms.ModelChoiceField(
                symptoms,
                label=f"{item}: ticket",
                required=False,
                empty_label="no ticket, it was put right",
            )
        self.units = {one.what: warm if one.unit == CELSIUS else one.unit for one in self.asked}
        for one in self.asked:
            unit = self.units[one.what]
            self.fields[f"value_{one.what}"] = decimal(
                f"{one.words.capitalize()} ({unit})",
                required=False,
                help_text=usual_said(one, unit),
            )

    def items(self) -> list[tuple[forms.BoundField, forms.BoundField, forms.BoundField]]:
        return [
            (self[f"item_{index}"], self[f"said_{index}"], self[f"symptom_{index}"])
            for index in range(len(self.plan.checklist))
        ]

    def values(self) -> list[forms.BoundField]:
        return [self[f"value_{one.what}"] for one in self.asked]

    def answers(self) -> list[work.Answer]:
        given = self.cleaned_data
        return [
            work.Answer(
                item,
                given[f"item_{index}"],
                given[f"said_{index}"],
                given[f"symptom_{index}"] if given[f"item_{index}"] == work.FAULT else None,
            )
            for index, item in enumerate(self.plan.checklist)
        ]

    def taken(self) -> list[work.Taken]:
        given = self.cleaned_data
        return [
            work.Taken(one.what, given[f"value_{one.what}"], self.units[one.what])
            for one in self.asked
            if given[f"value_{one.what}"] is not None
        ]

    def clean(self) -> None:
        for index in range(len(self.plan.checklist)):
            answer = self.cleaned_data.get(f"item_{index}")
            if answer in {work.FAULT, work.NOT_DONE} and not self.cleaned_data[f"said_{index}"]:
                wanted = "Say what the fault is." if answer == work.FAULT else "Say why not."
                self.add_error(f"said_{index}", wanted)


def usual_said(asked: Asked, unit: str) -> str:
    """The band of a reading in the unit that is typed."""

    def shown(value: Decimal) -> str:
        figure = value * 9 / 5 + 32 if unit == FAHRENHEIT else value
        return f"{figure.quantize(Decimal('0.1')).normalize():f}"

    if asked.least is not None and asked.most is not None:
        return f"Usually {shown(asked.least)} to {shown(asked.most)} {unit}."
    if asked.least is not None:
        return f"Usually at least {shown(asked.least)} {unit}."
    return f"Usually at most {shown(asked.most)} {unit}." if asked.most is not None else ""


class WhyForm(forms.Form):
    why = forms.CharField(label="Why it is taken back", max_length=200)


class ReadingForm(AtForm):
    note = None  # type: ignore[assignment]
    what = forms.ChoiceField(choices=Reading.What.choices)
    value = decimal("Value")
    unit = forms.ChoiceField()
    at = MomentInput(label="Taken at")

    def __init__(self, *args: Any, units: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        shown = [*dict.fromkeys(UNITS.values())]
        if units == Business.Units.INCHES:
            shown.insert(0, FAHRENHEIT)
        else:
            shown.append(FAHRENHEIT)
        self.fields["unit"].choices = [(one, one) for one in shown]  # type: ignore[attr-defined]


class PeriodForm(forms.Form):
    months = forms.TypedChoiceField(
        label="Over the last",
        choices=[(3, "3 months"), (6, "6 months"), (12, "12 months"), (24, "24 months")],
        coerce=int,
        required=False,
    )
    kind = forms.ModelChoiceField(Kind.objects.all(), required=False, empty_label="every kind")


class CalendarForm(forms.Form):
    name = forms.CharField(label="Which calendar has it", max_length=60)
    shows = forms.ChoiceField(label="Shows", choices=CalendarAddress.Shows.choices)


def until_of(within: str, today: date) -> tuple[date | None, date | None]:
    """The first and the last day that `within` means."""
    from_today = {"7": 7, "28": 28, "91": 91}
    if within == "late":
        return None, date.fromordinal(today.toordinal() - 1)
    if within == "all":
        return None, None
    return None, date.fromordinal(today.toordinal() + from_today.get(within, 7))
