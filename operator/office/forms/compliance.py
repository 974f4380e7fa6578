"""Duties, temperatures of food, recalls: what is typed at the desk and at machines."""

from typing import Any

from django import forms

from fleet.inventory.models import Lot, StockPlace
from fleet.machines.models import Machine, Product, Site
from people.models import Business, Person
from people.roles import Role
from service.compliance.actions.evidence import GivenFile
from service.compliance.models import Duty, DutyRule, Recall, TemperatureLimits
from service.compliance.models.duties import DutyKind, Subject
from service.runs.models import Run
from service.upkeep.asked import CELSIUS, FAHRENHEIT
from service.upkeep.models import Reading

from .base import RowForm
from .changeovers import DayInput, number
from .runs_kept import only
from .stock import AtForm, MomentInput
from .upkeep import decimal

WITHIN = [
    ("30", "within thirty days"),
    ("late", "late ones"),
    ("90", "within a quarter"),
    ("all", "all that is open"),
    ("done", "those done"),
]


def people_with_a_role() -> Any:
    return Person.objects.filter(is_active=True, roles__overlap=list(Role)).order_by("name", "pk")


class ProofForm(forms.Form):
    """A form with a paper or a picture."""

    def proof(self) -> GivenFile | None:
        file = self.cleaned_data.get("file")
        return None if file is None else GivenFile(file.name or "", file.read())


def file_field() -> forms.FileField:
    return forms.FileField(
        label="Paper or picture",
        required=False,
        help_text="PDF, JPEG, PNG or WebP, at most 5 MB. Pictures are kept without what cameras "
        "hide in them.",
        widget=forms.FileInput(attrs={"accept": "application/pdf,image/jpeg,image/png,image/webp"}),
    )


class DutyFilter(forms.Form):
    search = forms.CharField(
        label="Duty, authority, machine or site", required=False, max_length=100
    )
    within = forms.ChoiceField(label="Due", choices=WITHIN, required=False)
    kind = forms.ChoiceField(choices=[("", "every kind"), *DutyKind.choices], required=False)
    subject = forms.ChoiceField(
        label="About", choices=[("", "everything"), *Subject.choices], required=False
    )
    mine = forms.BooleanField(label="mine alone", required=False)


class SeenForm(ProofForm):
    """That duties were seen to."""

    done_on = forms.DateField(label="Done on", widget=DayInput())
    valid_until = forms.DateField(
        label="Valid until",
        widget=DayInput(),
        required=False,
        help_text="As the paper says; empty: by the rule's interval.",
    )
    number = forms.CharField(label="Its number", max_length=60, required=False)
    file = file_field()
    note = forms.CharField(max_length=300, required=False)


class WhyForm(forms.Form):
    why = forms.CharField(label="Why", max_length=200)


class DutyForm(RowForm):
    model = Duty
    columns = (
        *("title", "kind", "subject", "site", "machine", "due_on", "every_months"),
        *("notice_days", "owner", "authority", "citation", "status", "note"),
    )
    labels = {
        "subject": "About",
        "due_on": "Due on",
        "every_months": "Comes again after months",
        "notice_days": "Notice (days)",
        "owner": "Who sees to it",
        "authority": "To whom it is owed",
        "citation": "Source",
        "status": "How far the source was checked",
    }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["due_on"].widget = DayInput()
        self.fields["every_months"].help_text = "Empty: once."
        only(self, "owner", people_with_a_role())
        only(self, "site", Site.objects.order_by("name", "pk"))
        machines = Machine.objects.exclude(status=Machine.Status.RETIRED)
        only(self, "machine", machines.order_by("asset_tag", "pk"))
        for name, empty in (("owner", "the owners"), ("site", "no site"), ("machine", "none")):
            self.fields[name].empty_label = empty  # type: ignore[attr-defined]


class OpenDutyForm(RowForm):
    """What may be changed on a turn that a rule asked for."""

    model = Duty
    columns = ("due_on", "owner", "note")
    labels = {"due_on": "Due on", "owner": "Who sees to it"}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["due_on"].widget = DayInput()
        only(self, "owner", people_with_a_role())
        self.fields["owner"].empty_label = "the owners"  # type: ignore[attr-defined]


class DutyRuleForm(RowForm):
    model = DutyRule
    columns = (
        *("title", "kind", "subject", "applies_to", "state", "said", "authority", "citation"),
        *("status", "every_months", "month_day", "notice_days", "owner", "active"),
    )
    labels = {
        "subject": "Asked of",
        "applies_to": "For",
        "said": "What is asked for",
        "authority": "To whom it is owed",
        "citation": "Source",
        "status": "How far the source was checked",
        "every_months": "Comes again after months",
        "month_day": "On the day of the year",
        "notice_days": "Notice (days)",
        "owner": "Who sees to it",
        "active": "In use",
    }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        only(self, "owner", people_with_a_role())
        self.fields["owner"].empty_label = "the owners"  # type: ignore[attr-defined]
        self.fields["said"].widget.attrs["rows"] = 4


class TemperatureForm(AtForm):
    """A temperature read at a machine."""

    note = None  # type: ignore[assignment]
    what = forms.ChoiceField(
        label="Read of",
        choices=[
            (Reading.What.CABINET_C.value, "the cabinet's air, where it is warmest"),
            (Reading.What.PRODUCT_C.value, "a product"),
        ],
    )
    value = decimal("Temperature")
    unit = forms.ChoiceField()
    at = MomentInput(label="Taken at")

    def __init__(self, *args: Any, units: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        shown = [CELSIUS, FAHRENHEIT]
        if units == Business.Units.INCHES:
            shown.reverse()
        self.fields["unit"].choices = [(one, one) for one in shown]  # type: ignore[attr-defined]


class FailureForm(AtForm):
    note = None  # type: ignore[assignment]
    what = forms.CharField(
        label="What failed", max_length=200, help_text="Such as: plug was out all night."
    )
    at = MomentInput(label="Failed at")


class LiftForm(AtForm):
    note = None  # type: ignore[assignment]
    serviced_at = MomentInput(label="Serviced at")
    restocked_at = MomentInput(label="Restocked with safe food at")
    said = forms.CharField(
        label="What was done, and what became of the food",
        max_length=300,
        widget=forms.Textarea(attrs={"rows": 2}),
    )


class LimitsForm(RowForm):
    model = TemperatureLimits
    columns = (
        *("state", "cold_most_c", "cold_minutes", "hot_least_c", "hot_minutes"),
        *("citation", "status", "note"),
    )
    labels = {
        "cold_most_c": "Cold food, at most (°C)",
        "cold_minutes": "Minutes after filling or service",
        "hot_least_c": "Hot food, at least (°C)",
        "hot_minutes": "Minutes after filling or service",
        "citation": "Source",
        "status": "How far the source was checked",
    }


class DatesFilter(forms.Form):
    later = forms.BooleanField(label="also what ends within two months", required=False)


class RecallForm(RowForm):
    model = Recall
    columns = (
        *("product", "lot_codes", "best_before_from", "best_before_until"),
        *("reason", "reference"),
    )
    labels = {
        "lot_codes": "Codes of the lots",
        "best_before_from": "Best before, from",
        "best_before_until": "Best before, until",
        "reason": "Why it is called back",
        "reference": "Number of the notice",
    }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        sold = Product.objects.exclude(form=Product.Form.PART).order_by("name", "pk")
        only(self, "product", sold)
        for name in ("best_before_from", "best_before_until"):
            self.fields[name].widget = DayInput()


class SendForm(forms.Form):
    """Who is sent for it: machines onto the runs of a day, or onto one run."""

    machines = forms.ModelMultipleChoiceField(
        Machine.objects.none(), widget=forms.CheckboxSelectMultiple
    )
    day = forms.DateField(label="On the runs of", widget=DayInput(), required=False)
    run = forms.ModelChoiceField(
        Run.objects.none(), label="Or on one run", required=False, empty_label="whichever is best"
    )

    def __init__(self, *args: Any, machines: Any, runs: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        only(self, "machines", machines)
        only(self, "run", runs)

    def clean(self) -> None:
        given = self.cleaned_data
        if given.get("run") is not None:
            given["day"] = None
        elif given.get("day") is None:
            self.add_error("day", "Name a day, or a run.")


class TakenOutForm(AtForm, ProofForm):
    """What was found at a place and taken out."""

    field_order = ["place", "quantity", "lot", "at", "file", "note"]
    place = forms.ModelChoiceField(StockPlace.objects.none(), label="Where")
    quantity = number("Units taken out", help_text="0: looked, none was there.")
    lot = forms.ModelChoiceField(
        Lot.objects.none(), label="Lot", required=False, empty_label="not known"
    )
    at = MomentInput(label="Taken out at")
    file = file_field()

    def __init__(self, *args: Any, places: Any, lots: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        only(self, "place", places)
        only(self, "lot", lots)


class CloseForm(forms.Form):
    said = forms.CharField(label="How it ended", max_length=300)
    despite = forms.BooleanField(
        label="It ends although some is still there, or nobody looked", required=False
    )
