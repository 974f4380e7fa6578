"""How sales tax is written in JSON: rates as text, so that no digit is lost."""

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from api.shapes import Money, Ref, RowShape, Shape, one_of
from fleet.machines.models import Site
from service.compliance.models import (
    Filing,
    FilingDuty,
    Jurisdiction,
    Rate,
    RateFile,
    SiteJurisdiction,
    TaxRule,
    TaxSettings,
)
from service.compute.tax.rounding import Rounding
from service.compute.tax.rules import ADVICE

LONGEST_FILE = 4_000_000
MOST_DAYS = 1100


@extend_schema_field({"type": "string", "pattern": r"^0(\.\d+)?$", "examples": ["0.0625"]})
class Fraction(serializers.DecimalField):
    """A rate as a fraction in text: `"0.0625"` is 6.25 %."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_digits=8, decimal_places=7, min_value=0, max_value=1, **kwargs)

    def to_representation(self, value: Any) -> str:
        return f"{value.normalize():f}"


class StateField(serializers.RegexField):
    """The two letters of a state."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(r"^[A-Z]{2}$", **kwargs)


class PeriodQuery(Shape):
    """Days from `starts_on` to before `ends_on`, of one state or of all."""

    starts_on = serializers.DateField()
    ends_on = serializers.DateField(help_text="The first day no more.")
    state = StateField(required=False, default="")
    basis = one_of(TaxSettings.Basis, required=False, default="")

    def validate(self, given: dict[str, Any]) -> dict[str, Any]:
        if given["ends_on"] <= given["starts_on"]:
            raise serializers.ValidationError({"ends_on": "comes after starts_on"})
        if (given["ends_on"] - given["starts_on"]).days > MOST_DAYS:
            raise serializers.ValidationError({"ends_on": "at most three years at once"})
        return given


class DuePartOut(Shape):
    code = serializers.CharField()
    name = serializers.CharField()
    rate = serializers.CharField()
    tax = serializers.CharField()


class TaxTotalsOut(Shape):
    """Figures of a report; `measure` is what the rate is applied to.

    exempt, taxable, tax_inside, deposits, measured_otherwise and unclassified add up to receipts.
    """

    units = serializers.IntegerField()
    receipts = serializers.CharField()
    exempt = serializers.CharField()
    taxable = serializers.CharField()
    tax_inside = serializers.CharField()
    deposits = serializers.CharField()
    measured_otherwise = serializers.CharField()
    unclassified = serializers.CharField()
    measure = serializers.CharField()
    tax = serializers.CharField()


class TaxLineOut(TaxTotalsOut):
    """A line of a report: one place, class and rule."""

    state = serializers.CharField()
    jurisdictions = serializers.ListField(child=serializers.CharField())
    names = serializers.ListField(child=serializers.CharField())
    product_class = serializers.CharField(source="class")
    rule = serializers.CharField()
    title = serializers.CharField()
    citation = serializers.CharField()
    status = serializers.CharField(help_text="read, secondary, memory; empty without a rule.")
    rate = serializers.CharField()
    cost = serializers.CharField(allow_null=True)
    due = DuePartOut(many=True)
    why = serializers.ListField(child=serializers.CharField())


class TaxDecalOut(Shape):
    """A yearly decal that stands for tax: how many machines need one, and what they cost."""

    state = serializers.CharField()
    rule = serializers.CharField()
    title = serializers.CharField(default="")
    citation = serializers.CharField(default="")
    status = serializers.CharField(default="", help_text="read, secondary or memory.")
    machines = serializers.IntegerField()
    each = serializers.CharField(help_text="A machine and year.")
    amount = serializers.CharField(default="", help_text="In no tax of the report.")


class TaxFiguresOut(Shape):
    rounding = serializers.CharField()
    totals = TaxTotalsOut()
    due = serializers.DictField(child=serializers.CharField())
    lines = TaxLineOut(many=True)
    decals = TaxDecalOut(many=True)
    said = serializers.ListField(child=serializers.CharField())


class UndecidedOut(Shape):
    """An interval whose sales are not whole in the report until it is decided, at its read."""

    machine_interval = serializers.IntegerField(source="interval_id")
    machine = serializers.IntegerField(source="machine_id")
    asset_tag = serializers.CharField()
    starts_at = serializers.DateTimeField()
    ends_at = serializers.DateTimeField()
    columns = serializers.ListField(
        child=serializers.CharField(), help_text="Those whose sales are not known."
    )
    awaits_decision = serializers.BooleanField()
    read = serializers.IntegerField(source="read_id", help_text="Where it is decided.")
    why = serializers.ListField(child=serializers.CharField())


class TaxReportOut(Shape):
    """A report as the books stand now, and the digest by which it can be filed as seen."""

    state = serializers.CharField()
    starts_on = serializers.DateField()
    ends_on = serializers.DateField()
    basis = serializers.CharField()
    digest = serializers.CharField()
    figures = TaxFiguresOut()
    undecided_number = serializers.IntegerField(help_text="Intervals that hold something back.")
    undecided = UndecidedOut(many=True, help_text="The first of them, 20 at most.")
    advice = serializers.CharField(default=ADVICE)


class MachineTaxOut(Shape):
    machine = serializers.IntegerField()
    receipts = serializers.CharField()
    tax = serializers.CharField()
    deposit = serializers.CharField()
    unclassified = serializers.CharField()


class TaxRuleIn(Shape):
    """A rule as plain data, and why it is entered."""

    data = serializers.DictField()
    why = serializers.CharField(max_length=300)


class WhyIn(Shape):
    why = serializers.CharField(max_length=300)


class PacksIn(Shape):
    states = serializers.ListField(child=StateField(), required=False, default=list)


class TaxRuleOut(RowShape):
    data = serializers.DictField()
    title = serializers.CharField(source="rule.title")
    shape = serializers.CharField(source="rule.shape.words")
    citation = serializers.CharField(source="rule.citation")
    checked = serializers.CharField(source="rule.status.words")

    class Meta:
        model = TaxRule
        fields = (
            *("id", "key", "state", "title", "shape", "citation", "checked", "data"),
            *("origin", "why", "at", "by", "replaced_by", "removed_at"),
        )


class RulesTakenIn(Shape):
    """The keys of the rules that are new."""

    keys = serializers.ListField(child=serializers.CharField())


class JurisdictionIn(RowShape):
    class Meta:
        model = Jurisdiction
        fields = ("code", "name", "kind", "state")


class JurisdictionOut(RowShape):
    class Meta:
        model = Jurisdiction
        fields = ("id", *JurisdictionIn.Meta.fields, "updated_at")


class RateIn(RowShape):
    jurisdiction = Ref(queryset=Jurisdiction.objects.all())
    general = Fraction()
    food = Fraction(required=False, allow_null=True)

    class Meta:
        model = Rate
        fields = ("jurisdiction", "general", "food", "begins_on", "ends_on", "citation")


class RateOut(RowShape):
    general = Fraction()
    food = Fraction(allow_null=True)

    class Meta:
        model = Rate
        fields = ("id", *RateIn.Meta.fields, "source", "file", "updated_at")


class SiteJurisdictionIn(RowShape):
    site = Ref(queryset=Site.objects.all())
    jurisdiction = Ref(queryset=Jurisdiction.objects.all())

    class Meta:
        model = SiteJurisdiction
        fields = ("site", "jurisdiction", "begins_on", "ends_on")


class SiteJurisdictionOut(RowShape):
    class Meta:
        model = SiteJurisdiction
        fields = ("id", *SiteJurisdictionIn.Meta.fields, "updated_at")


class RateFileIn(Shape):
    """A rate file as its state publishes it, as text."""

    name = serializers.CharField(max_length=200)
    text = serializers.CharField(max_length=LONGEST_FILE, trim_whitespace=False)


class RateFileOut(RowShape):
    class Meta:
        model = RateFile
        fields = ("id", "name", "sha256", "rates", "loaded_at", "loaded_by")


class FilingDutyIn(RowShape):
    class Meta:
        model = FilingDuty
        fields = ("state", "every", "due_day", "registration", "first_period", "note")


class FilingDutyOut(RowShape):
    class Meta:
        model = FilingDuty
        fields = ("id", *FilingDutyIn.Meta.fields, "updated_at")


class FilingIn(Shape):
    """Which period of which state, and the digest of the report that was looked at."""

    state = StateField()
    starts_on = serializers.DateField()
    ends_on = serializers.DateField()
    seen = serializers.CharField(max_length=64)
    reference = serializers.CharField(max_length=60, required=False, default="", allow_blank=True)
    note = serializers.CharField(max_length=300, required=False, default="", allow_blank=True)


class AmendIn(Shape):
    note = serializers.CharField(max_length=300)
    seen = serializers.CharField(max_length=64)
    reference = serializers.CharField(max_length=60, required=False, default="", allow_blank=True)


class FilingOut(RowShape):
    receipts = Money()
    tax = Money()
    figures = TaxFiguresOut()

    class Meta:
        model = Filing
        fields = (
            *("id", "state", "starts_on", "ends_on", "basis", "rounding", "digest"),
            *("receipts", "tax", "currency", "reference", "note", "filed_at", "filed_by"),
            *("amends", "figures"),
        )


class FilingBriefOut(RowShape):
    receipts = Money()
    tax = Money()

    class Meta:
        model = Filing
        fields = tuple(name for name in FilingOut.Meta.fields if name != "figures")


class FilingChangedOut(Shape):
    state = serializers.CharField()
    names = serializers.ListField(child=serializers.CharField())
    product_class = serializers.CharField(source="code")
    title = serializers.CharField()
    receipts = serializers.CharField(help_text="More than was filed; negative where less.")
    tax = serializers.CharField()


class FilingChangesOut(Shape):
    """What has come to light of a period since it was filed."""

    receipts = serializers.CharField()
    tax = serializers.CharField()
    digest = serializers.CharField(help_text="Of the books now; an amendment names it.")
    lines = FilingChangedOut(many=True)
    reads = serializers.ListField(child=serializers.IntegerField())


class TaxDifferenceOut(Shape):
    """One figure that is another when the return is reckoned anew; `none`: it is not there."""

    where = serializers.CharField()
    figure = serializers.CharField()
    was = serializers.CharField(help_text="As it was filed.")
    again = serializers.CharField()


class RecomputedOut(Shape):
    """A return reckoned anew from what it froze, compared figure by figure."""

    is_same = serializers.BooleanField()
    digest_holds = serializers.BooleanField(
        help_text="Whether the kept inputs have the digest of the day of filing."
    )
    differs = TaxDifferenceOut(many=True)


class TaxSettingsIn(RowShape):
    rounding = serializers.ChoiceField(choices=[str(one) for one in Rounding], required=False)

    class Meta:
        model = TaxSettings
        fields = ("basis", "rounding")


class TaxSettingsOut(RowShape):
    class Meta:
        model = TaxSettings
        fields = ("basis", "rounding", "updated_at")
