"""Sales tax: periods, rules, places, rates and settings."""

from datetime import date
from decimal import Decimal, InvalidOperation
from typing import Any

from django import forms

from fleet.machines.models import Site
from service.compliance.models import FilingDuty, Jurisdiction, TaxSettings
from service.compliance.queries.filing import today
from service.compute.tax.classes import WORDS, ClassCode, Status
from service.compute.tax.rounding import Rounding
from service.compute.tax.rules import RateKind, Rule, Shape, Takes, plain

from .changeovers import DayInput

PREMISES = [one for one in Site.Premises.choices if one[0]]


def states() -> list[tuple[str, str]]:
    """The states in which the business has sites or jurisdictions."""
    found = {one.upper() for one in Site.objects.values_list("state", flat=True) if one}
    found |= set(Jurisdiction.objects.values_list("state", flat=True))
    return [(one, one) for one in sorted(found)]


class ReportForm(forms.Form):
    """Which period of which state."""

    state = forms.ChoiceField(label="State", required=False)
    starts_on = forms.DateField(label="From", widget=DayInput())
    ends_on = forms.DateField(label="To, not included", widget=DayInput())
    basis = forms.ChoiceField(
        label="Receipts fall",
        choices=[("", "as the settings say"), *TaxSettings.Basis.choices],
        required=False,
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["state"].choices = [("", "every state"), *states()]  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        given: dict[str, Any] = super().clean() or {}
        starts, ends = given.get("starts_on"), given.get("ends_on")
        if starts and ends and ends <= starts:
            self.add_error("ends_on", "comes after the first day")
        elif starts and ends and (ends - starts).days > 1100:
            self.add_error("ends_on", "at most three years at once")
        return given

    @classmethod
    def this_quarter(cls) -> dict[str, str]:
        """What stands in the form at first."""
        day = today()
        starts = date(day.year, (day.month - 1) // 3 * 3 + 1, 1)
        year, month = divmod(starts.year * 12 + starts.month - 1 + 3, 12)
        return {
            "starts_on": starts.isoformat(),
            "ends_on": date(year, month + 1, 1).isoformat(),
            "state": "",
            "basis": "",
        }


class FileForm(forms.Form):
    """What goes with a return."""

    reference = forms.CharField(label="The authority's confirmation", max_length=60, required=False)
    note = forms.CharField(label="Note", max_length=300, required=False)
    seen = forms.CharField(widget=forms.HiddenInput())


class AmendForm(FileForm):
    note = forms.CharField(label="What came to light", max_length=300)


class WhyForm(forms.Form):
    why = forms.CharField(label="Why", max_length=300)


class PacksForm(forms.Form):
    states = forms.MultipleChoiceField(
        label="States", widget=forms.CheckboxSelectMultiple, required=True
    )

    def __init__(self, *args: Any, known: list[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["states"].choices = [(one, one) for one in known]  # type: ignore[attr-defined]


class ClassesForm(forms.Form):
    state = forms.CharField(label="State, two letters", max_length=2, required=False)
    search = forms.CharField(label="Product", max_length=100, required=False)

    def clean_state(self) -> str:
        return str(self.cleaned_data["state"]).strip().upper()


YES_OR_NO = ("carbonated", "bulk")


class RuleForm(forms.Form):
    """A rule, field by field; what a shape does not ask stays empty."""

    key = forms.SlugField(label="Key", max_length=60, help_text="As in nj-food.")
    state = forms.CharField(label="State, two letters", max_length=2)
    title = forms.CharField(label="In a sentence", max_length=200)
    shape = forms.ChoiceField(label="Shape", choices=[(str(s), s.words) for s in Shape])
    classes = forms.MultipleChoiceField(
        label="Classes",
        help_text="None: every class.",
        choices=[(str(c), WORDS[c]) for c in ClassCode if c is not ClassCode.UNKNOWN],
        widget=forms.CheckboxSelectMultiple,
        required=False,
    )
    premises = forms.MultipleChoiceField(
        label="Premises",
        help_text="None: all.",
        choices=PREMISES,
        widget=forms.CheckboxSelectMultiple,
        required=False,
    )
    takes = forms.MultipleChoiceField(
        label="Machines that take",
        help_text="None: all.",
        choices=[
            (str(Takes.CASH), "coins and notes only"),
            (str(Takes.ALL), "cash and cards"),
            (str(Takes.CASHLESS), "cards only"),
        ],
        widget=forms.CheckboxSelectMultiple,
        required=False,
    )
    carbonated = forms.ChoiceField(
        label="Carbonated",
        choices=[("", "either"), ("yes", "only carbonated"), ("no", "only still")],
        required=False,
    )
    over = forms.CharField(label="Price above", max_length=10, required=False)
    at_most = forms.CharField(label="Price at most", max_length=10, required=False)
    below = forms.CharField(label="Price below", max_length=10, required=False)
    highest_below = forms.CharField(
        label="Nothing in the machine costs this or more", max_length=10, required=False
    )
    only_snacks = forms.BooleanField(
        label="The machine sells nothing but food and drink", required=False
    )
    bulk = forms.ChoiceField(
        label="Machines that let goods out loose",
        choices=[("", "either"), ("yes", "only those"), ("no", "only others")],
        required=False,
    )
    least_share = forms.CharField(
        label="At least this share of all receipts is at such prices", max_length=12, required=False
    )
    asks = forms.CharField(
        label="What no record tells",
        help_text="While something stands here, sales that the rule is for stay unclassified.",
        max_length=300,
        required=False,
    )
    share = forms.CharField(
        label="Share of receipts", help_text="A fraction: 0.33.", max_length=12, required=False
    )
    markup = forms.CharField(
        label="Cost is multiplied by", help_text="As in 1.35.", max_length=12, required=False
    )
    rate = forms.CharField(
        label="Rate of the rule itself",
        help_text="A fraction: 0.06. Empty: the rates of the place.",
        max_length=12,
        required=False,
    )
    rate_added = forms.CharField(label="Rate added", max_length=12, required=False)
    rate_kind = forms.ChoiceField(
        label="Goes by",
        choices=[
            (str(RateKind.GENERAL), "the general rate"),
            (str(RateKind.FOOD), "the food rate"),
        ],
    )
    divisors = forms.CharField(
        label="Divisors",
        help_text="A line each: rate, divisor. As in 0.07, 1.0726.",
        widget=forms.Textarea(attrs={"rows": 4}),
        required=False,
    )
    brackets = forms.CharField(
        label="Table of prices",
        help_text="A line each: price up to, tax. As in 0.17, 0.01; the last price is 1.00.",
        widget=forms.Textarea(attrs={"rows": 4}),
        required=False,
    )
    decal = forms.CharField(label="Decal, a machine and year", max_length=12, required=False)
    rank = forms.IntegerField(
        label="Rank", help_text="Of rules for the same sale the highest applies.", initial=0
    )
    begins = forms.DateField(label="First day", widget=DayInput(), required=False)
    ends = forms.DateField(label="First day no more", widget=DayInput(), required=False)
    citation = forms.CharField(label="Law, rule or bulletin", max_length=300)
    status = forms.ChoiceField(label="Checked", choices=[(str(s), s.words) for s in Status])
    note = forms.CharField(
        label="Note", widget=forms.Textarea(attrs={"rows": 3}), max_length=1000, required=False
    )
    why = forms.CharField(label="Why it is entered or changed", max_length=300)

    @classmethod
    def of(cls, rule: Rule) -> "RuleForm":
        """The form with what a rule says now."""
        data = plain(rule)
        shown = dict(data)
        for name in ("divisors", "brackets"):
            pairs = data.get(name, {}).items()
            shown[name] = "\n".join(f"{key}, {value}" for key, value in pairs)
        for name in YES_OR_NO:
            shown[name] = {True: "yes", False: "no"}.get(data.get(name), "")  # type: ignore[arg-type]
        return cls(initial=shown)

    def data_of_rule(self) -> dict[str, Any]:
        """What was typed as the plain data of a rule."""
        given = self.cleaned_data
        found: dict[str, Any] = {
            name: value
            for name, value in given.items()
            if name not in ("why", "divisors", "brackets", *YES_OR_NO) and value not in ("", [])
        }
        found["state"] = str(given["state"]).upper()
        for name in YES_OR_NO:
            if given[name]:
                found[name] = given[name] == "yes"
        for name in ("divisors", "brackets"):
            if given[name].strip():
                found[name] = given[name]
        return {key: value for key, value in found.items() if value is not None}

    def clean_divisors(self) -> Any:
        return _pairs(self.cleaned_data["divisors"])

    def clean_brackets(self) -> Any:
        return _pairs(self.cleaned_data["brackets"])


class _Pairs(dict[str, str]):
    """Pairs of figures as typed; empty where nothing was typed."""

    def strip(self) -> "_Pairs":
        return self


def _same(one: str, other: str) -> bool:
    """Whether two figures are the same however they are written; what is none is no other."""
    return Decimal(one).compare(Decimal(other)) == 0


def _pairs(text: str) -> _Pairs:
    found = _Pairs()
    for number, line in enumerate(text.splitlines(), start=1):
        cells = [cell.strip() for cell in line.replace(";", ",").split(",")]
        if not any(cells):
            continue
        try:
            key, value = cells
            if not (Decimal(key).is_finite() and Decimal(value).is_finite()):
                raise ValueError
        except (ValueError, InvalidOperation) as error:
            message = f"line {number} is not two figures with a comma between: {line.strip()}"
            raise forms.ValidationError(message) from error
        if any(_same(key, one) for one in found):
            raise forms.ValidationError(f"line {number} gives {key} a second figure")
        found[key] = value
    return found


class JurisdictionForm(forms.Form):
    code = forms.CharField(label="Code", max_length=20, help_text="As in FL, or FL-00-00057.")
    name = forms.CharField(label="Name", max_length=100)
    kind = forms.ChoiceField(label="Kind", choices=Jurisdiction.Kind.choices)
    state = forms.CharField(label="State, two letters", max_length=2)

    def clean_state(self) -> str:
        return str(self.cleaned_data["state"]).strip().upper()

    def clean_code(self) -> str:
        return str(self.cleaned_data["code"]).strip().upper()


class RateForm(forms.Form):
    """A rate typed in; percent, as it is published."""

    general = forms.DecimalField(
        label="General rate, percent", min_value=Decimal(0), max_value=Decimal("99.99999")
    )
    food = forms.DecimalField(
        label="Food rate, percent",
        min_value=Decimal(0),
        max_value=Decimal("99.99999"),
        required=False,
        help_text="Empty: none of its own.",
    )
    begins_on = forms.DateField(label="First day", widget=DayInput())
    ends_on = forms.DateField(label="First day no more", widget=DayInput(), required=False)
    citation = forms.CharField(label="Where it is published", max_length=200, required=False)

    def changes(self) -> dict[str, Any]:
        given = dict(self.cleaned_data)
        for name in ("general", "food"):
            if given[name] is not None:
                given[name] = given[name] / 100
        return given


class PlaceSiteForm(forms.Form):
    site = forms.ModelChoiceField(Site.objects.none(), label="Site")
    begins_on = forms.DateField(label="First day", widget=DayInput(), required=False)
    ends_on = forms.DateField(label="First day no more", widget=DayInput(), required=False)

    def __init__(self, *args: Any, state: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        sites = Site.objects.filter(state__iexact=state).order_by("name")
        self.fields["site"].queryset = sites  # type: ignore[attr-defined]


class RateFileForm(forms.Form):
    file = forms.FileField(
        label="Rate file",
        help_text="As the state publishes it: nine fields a line, parted by commas.",
    )


class TaxSettingsForm(forms.Form):
    basis = forms.ChoiceField(label="Receipts fall", choices=TaxSettings.Basis.choices)
    rounding = forms.ChoiceField(
        label="Rounding", choices=[(str(one), one.words) for one in Rounding]
    )


class DutyForm(forms.Form):
    state = forms.CharField(label="State, two letters", max_length=2)
    every = forms.ChoiceField(label="Return", choices=FilingDuty.Every.choices)
    due_day = forms.IntegerField(label="Due on day of the month after", min_value=1, max_value=31)
    registration = forms.CharField(label="Registration number", max_length=40, required=False)
    first_period = forms.DateField(label="First day of the first period", widget=DayInput())
    note = forms.CharField(label="Note", max_length=300, required=False)

    def clean_state(self) -> str:
        return str(self.cleaned_data["state"]).strip().upper()
