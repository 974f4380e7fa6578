"""How calorie signs, access and energy are written in JSON."""

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from api.shapes import Moment, Number, Ref, RowShape, Shape, one_of
from fleet.machines.models import Machine
from service.compliance.models import AccessCheck, AccessMeasure, EnergyReading, LabelSettings
from service.compliance.queries import measured as queries
from service.compliance.queries.labels import Sheet
from service.compute.calories import Coverage


class LabelSettingsIn(RowShape):
    class Meta:
        model = LabelSettings
        fields = ("registered", "registered_until", "contact")


class CoverageOut(Shape):
    covered = serializers.BooleanField()
    machines = serializers.IntegerField(help_text="In service now.")
    why = serializers.CharField()
    citation = serializers.CharField()
    status = serializers.CharField(help_text="How far the source was checked.")


class LabelSettingsOut(LabelSettingsIn):
    coverage = serializers.SerializerMethodField()

    class Meta(LabelSettingsIn.Meta):
        fields = (*LabelSettingsIn.Meta.fields, "coverage", "updated_at")

    @extend_schema_field(CoverageOut)
    def get_coverage(self, row: LabelSettings) -> Any:
        found: Coverage = self.context["coverage"]
        return CoverageOut(found).data


class SignLineOut(Shape):
    selections = serializers.ListField(child=serializers.CharField())
    product = serializers.IntegerField(source="product.pk")
    product_name = serializers.CharField(source="product.name")
    calories = serializers.IntegerField(
        source="declared", allow_null=True, help_text="As declared; null: nobody wrote it down."
    )


class SignOut(Shape):
    """What a machine's sign says now, and whether it needs one."""

    machine = serializers.IntegerField(source="machine.pk")
    asset_tag = serializers.CharField(source="machine.asset_tag")
    site_name = serializers.SerializerMethodField()
    sign = serializers.BooleanField(source="shown.sign", help_text="Whether it needs a sign.")
    why = serializers.CharField(source="shown.why")
    lines = SignLineOut(many=True)

    def get_site_name(self, sheet: Sheet) -> str | None:
        return None if sheet.placement is None else sheet.placement.site.name


class TakenBackIn(Shape):
    why = serializers.CharField(max_length=200)


MEASURED = ("by", "by_name", "recorded_at", "note", "set_aside_at", "set_aside_why")


class AccessPartIn(Shape):
    part = one_of(AccessMeasure.Part)
    height_mm = serializers.IntegerField(min_value=0, max_value=3000)
    force_n = Number(
        max_digits=5,
        decimal_places=1,
        min_value=0,
        max_value=1000,
        required=False,
        allow_null=True,
        help_text="Newtons; left out: not measured.",
    )


class AccessCheckIn(Shape):
    machine = Ref(queryset=Machine.objects.select_related("kind"))
    measured_at = Moment()
    approach = one_of(AccessCheck.Approach)
    obstruction_height_mm = serializers.IntegerField(
        min_value=0, max_value=3000, required=False, allow_null=True
    )
    obstruction_depth_mm = serializers.IntegerField(
        min_value=0, max_value=3000, required=False, allow_null=True
    )
    parts = AccessPartIn(many=True, allow_empty=False, max_length=len(AccessMeasure.Part))
    note = serializers.CharField(required=False, allow_blank=True, default="", max_length=300)


class AccessJudgedPartOut(Shape):
    name = serializers.CharField()
    verdict = serializers.CharField()
    why = serializers.ListField(child=serializers.CharField())
    change = serializers.ListField(child=serializers.CharField())


class AccessJudgedOut(Shape):
    """The check beside 2010 ADA Standards 308 and 309."""

    verdict = serializers.CharField()
    complete = serializers.BooleanField(help_text="Whether every force was measured.")
    least_mm = serializers.IntegerField(source="reach.least_mm")
    most_mm = serializers.IntegerField(
        source="reach.most_mm", allow_null=True, help_text="Null: nothing is within reach."
    )
    section = serializers.CharField(source="reach.section")
    parts = AccessJudgedPartOut(many=True)
    change = serializers.ListField(child=serializers.CharField())
    citation = serializers.CharField()
    status = serializers.CharField()


class AccessMeasureOut(RowShape):
    class Meta:
        model = AccessMeasure
        fields = ("part", "height_mm", "force_n")


class AccessCheckOut(RowShape):
    machine = serializers.IntegerField(source="placement.machine_id")
    asset_tag = serializers.CharField(source="placement.machine.asset_tag")
    site_name = serializers.CharField(source="placement.site.name")
    by_name = serializers.CharField(source="by.name")
    measures = AccessMeasureOut(many=True)
    judged = serializers.SerializerMethodField()

    class Meta:
        model = AccessCheck
        fields = (
            *("id", "placement", "machine", "asset_tag", "site_name", "measured_at", "approach"),
            *("obstruction_height_mm", "obstruction_depth_mm", "measures", "judged"),
            *MEASURED,
        )

    @extend_schema_field(AccessJudgedOut)
    def get_judged(self, check: AccessCheck) -> Any:
        return AccessJudgedOut(queries.reach_of(check)).data


class EnergyReadingIn(Shape):
    """What was used, or what the meter showed at both ends."""

    machine = Ref(queryset=Machine.objects.select_related("kind"))
    starts_at = Moment()
    ends_at = Moment()
    kwh = Number(max_digits=9, decimal_places=3, min_value=0, max_value=100_000, required=False)
    meter_from = Number(max_digits=11, decimal_places=3, min_value=0, required=False)
    meter_until = Number(max_digits=11, decimal_places=3, min_value=0, required=False)
    note = serializers.CharField(required=False, allow_blank=True, default="", max_length=300)


class EnergyReadingOut(RowShape):
    asset_tag = serializers.CharField(source="machine.asset_tag")
    by_name = serializers.CharField(source="by.name")
    kwh_per_day = serializers.SerializerMethodField()
    limit_kwh_per_day = serializers.SerializerMethodField()
    within = serializers.SerializerMethodField(help_text="Null: no limit stands or is known.")
    why = serializers.SerializerMethodField()

    class Meta:
        model = EnergyReading
        fields = (
            *("id", "machine", "asset_tag", "starts_at", "ends_at", "kwh", "kwh_per_day"),
            *("limit_kwh_per_day", "within", "why"),
            *MEASURED,
        )

    def get_kwh_per_day(self, row: EnergyReading) -> float:
        return float(queries.a_day_of(row))

    def get_limit_kwh_per_day(self, row: EnergyReading) -> float | None:
        allowed = self._allowed(row)
        if allowed is None or allowed.limit is None or allowed.limit.kwh_per_day is None:
            return None
        return float(allowed.limit.kwh_per_day)

    def get_within(self, row: EnergyReading) -> bool | None:
        judged = queries.energy_of(row)
        return None if judged is None else judged.within

    def get_why(self, row: EnergyReading) -> list[str]:
        allowed = self._allowed(row)
        if allowed is None:
            return ["its kind has no energy class; no limit is asked for"]
        if allowed.limit is None:
            return [f"not recorded: {one}" for one in allowed.missing]
        return [*allowed.limit.why, f"{allowed.limit.citation}, {allowed.limit.status}"]

    def _allowed(self, row: EnergyReading) -> queries.Allowed | None:
        kind = row.machine.kind
        return queries.allowed_of(kind, row.machine.made_on) if kind.energy_class else None
