"""How planned maintenance is written in JSON."""

from typing import Any

from rest_framework import serializers

from api.shapes import Moment, Money, Number, Ref, RowShape, Shape, one_of
from fleet.machines.models import Machine
from people.models import Person
from service.tickets.models import Symptom
from service.upkeep.actions import work
from service.upkeep.models import (
    CalendarAddress,
    DueWork,
    MaintenanceDone,
    MaintenancePlan,
    OwnTerms,
    Reading,
)


class AskedShape(Shape):
    """A reading that is asked for, with the band it usually lies in, in its own unit."""

    what = one_of(Reading.What)
    least = Number(max_digits=8, decimal_places=2, required=False, allow_null=True)
    most = Number(max_digits=8, decimal_places=2, required=False, allow_null=True)


class MaintenancePlanIn(RowShape):
    checklist = serializers.ListField(
        child=serializers.CharField(max_length=200), required=False, max_length=30
    )
    readings_asked = AskedShape(many=True, required=False, max_length=6)
    season_days = serializers.ListField(
        child=serializers.RegexField(r"^\d\d-\d\d$"),
        required=False,
        max_length=12,
        help_text="Days of the year as month-day, as in 05-01.",
    )
    responsible = Ref(
        queryset=Person.objects.filter(is_active=True), required=False, allow_null=True
    )

    class Meta:
        model = MaintenancePlan
        fields = (
            *("name", "applies_to", "kind", "machine", "trigger"),
            *("every_days", "every_vends", "season_days", "minutes", "checklist"),
            *("readings_asked", "cautions", "needs_skill", "responsible", "notice_days"),
            *("grounds", "active", "starts_on"),
        )


class MaintenancePlanOut(RowShape):
    checklist = serializers.ListField(child=serializers.CharField())
    season_days = serializers.ListField(child=serializers.CharField())
    readings_asked = AskedShape(many=True)

    class Meta:
        model = MaintenancePlan
        fields = ("id", *MaintenancePlanIn.Meta.fields, "made_at", "updated_at")


class OwnTermsIn(RowShape):
    """A machine's own days or vends, or that it is left out; and why."""

    plan = Ref(queryset=MaintenancePlan.objects.all())
    machine = Ref(queryset=Machine.objects.select_related("kind"))

    class Meta:
        model = OwnTerms
        fields = ("plan", "machine", "every_days", "every_vends", "left_out", "why")


class OwnTermsOut(RowShape):
    class Meta:
        model = OwnTerms
        fields = ("id", *OwnTermsIn.Meta.fields, "updated_at")


class DueOut(RowShape):
    """`day` is when it is to be done: where a person moved it, else when it is due."""

    asset_tag = serializers.CharField(source="machine.asset_tag")
    plan_name = serializers.CharField(source="plan.name")
    minutes = serializers.IntegerField(source="plan.minutes")
    needs_skill = serializers.CharField(source="plan.needs_skill")
    site_name = serializers.SerializerMethodField()

    class Meta:
        model = DueWork
        fields = (
            *("id", "machine", "asset_tag", "site_name", "plan", "plan_name", "state", "day"),
            *("due_on", "earliest_on", "latest_on", "because", "put_off_to", "put_off_why"),
            *("minutes", "needs_skill", "given_to", "done", "reminded_at", "late_told_at"),
            *("opened_at", "closed_at", "changed_at"),
        )

    def get_site_name(self, due: DueWork) -> str | None:
        placed = next(iter(getattr(due.machine, "placements_now", [])), None)
        return None if placed is None else placed.site.name


class PutOffIn(Shape):
    to = serializers.DateField(allow_null=True, help_text="Null: back to its own day.")
    why = serializers.CharField(max_length=200, required=False, default="", allow_blank=True)


class GiveDueIn(Shape):
    to = Ref(queryset=Person.objects.filter(is_active=True), allow_null=True)


class AnswerIn(Shape):
    """What became of an item of the checklist. With a symptom a fault becomes a ticket."""

    item = serializers.CharField(max_length=200)
    answer = serializers.ChoiceField(choices=[(one, one) for one in work.ANSWERS])
    said = serializers.CharField(max_length=300, required=False, default="", allow_blank=True)
    symptom = Ref(
        queryset=Symptom.objects.filter(active=True), required=False, allow_null=True, default=None
    )


class TakenIn(Shape):
    what = one_of(Reading.What)
    value = serializers.DecimalField(max_digits=10, decimal_places=3)
    unit = serializers.CharField(
        max_length=8,
        required=False,
        default="",
        allow_blank=True,
        help_text="Left out: the reading's own. Degrees may be °C or °F.",
    )


class DoneIn(Shape):
    plan = Ref(queryset=MaintenancePlan.objects.all())
    machine = Ref(queryset=Machine.objects.select_related("kind"))
    at = Moment(help_text="When it was done, by the clock of whoever did it.")
    answers = AnswerIn(many=True, required=False, default=list, max_length=30)
    readings = TakenIn(many=True, required=False, default=list, max_length=6)
    minutes = serializers.IntegerField(
        min_value=0, max_value=1440, required=False, allow_null=True, default=None
    )
    note = serializers.CharField(max_length=2000, required=False, default="", allow_blank=True)


class AnswerOut(serializers.Serializer):
    item = serializers.CharField()
    answer = serializers.CharField()
    said = serializers.CharField()


class ReadingBrief(RowShape):
    unit = serializers.CharField()

    class Meta:
        model = Reading
        fields = ("id", "what", "value", "unit", "usual")


class DoneOut(RowShape):
    asset_tag = serializers.CharField(source="machine.asset_tag")
    plan_name = serializers.CharField(source="plan.name")
    by_name = serializers.CharField(source="by.name")
    answers = AnswerOut(many=True)
    readings = ReadingBrief(many=True)

    class Meta:
        model = MaintenanceDone
        fields = (
            *("id", "plan", "plan_name", "machine", "asset_tag", "done_at", "recorded_at"),
            *("by", "by_name", "answers", "readings", "minutes", "note"),
            *("set_aside_at", "set_aside_by", "set_aside_why"),
        )


class SetAsideIn(Shape):
    why = serializers.CharField(max_length=200)


class ReadingIn(TakenIn):
    machine = Ref(queryset=Machine.objects.all())
    at = Moment(help_text="When it was read off.")


class ReadingOut(RowShape):
    unit = serializers.CharField()

    class Meta:
        model = Reading
        fields = (
            *("id", "machine", "what", "value", "unit", "taken_at", "recorded_at"),
            *("by", "source", "done", "usual"),
        )


class CalendarIn(RowShape):
    class Meta:
        model = CalendarAddress
        fields = ("name", "shows")


class CalendarOut(RowShape):
    class Meta:
        model = CalendarAddress
        fields = (
            *("id", "person", "name", "shows", "made_at", "last_used_at"),
            *("revoked_at", "revoked_by"),
        )


class CalendarMade(serializers.Serializer):
    """The address is in this answer alone, and kept nowhere."""

    id = serializers.IntegerField(source="row.pk")
    address = serializers.CharField()


class BetweenOut(serializers.Serializer):
    """Days in service between failures; null: none was seen, or there is no upper bound."""

    failures = serializers.IntegerField()
    machine_days = serializers.FloatField()
    days = serializers.FloatField(allow_null=True)
    least_days = serializers.FloatField()
    most_days = serializers.FloatField(allow_null=True)
    confidence = serializers.FloatField()
    few = serializers.BooleanField(help_text="Too few cases to tell this from others.")
    said = serializers.CharField()


class TypicalOut(serializers.Serializer):
    cases = serializers.IntegerField()
    middle = serializers.FloatField(allow_null=True)
    least = serializers.FloatField(allow_null=True)
    most = serializers.FloatField(allow_null=True)
    confidence = serializers.FloatField()
    few = serializers.BooleanField()
    said = serializers.CharField()


class FixedShareOut(serializers.Serializer):
    hits = serializers.IntegerField()
    cases = serializers.IntegerField()
    share = serializers.FloatField(allow_null=True)
    least = serializers.FloatField()
    most = serializers.FloatField()
    confidence = serializers.FloatField()
    few = serializers.BooleanField()
    said = serializers.CharField()


class FiguresOut(serializers.Serializer):
    machine = serializers.SerializerMethodField(help_text="Null: all machines of the kind.")
    kind = serializers.IntegerField(source="of.kind")
    label = serializers.CharField(source="of.label")
    machines = serializers.IntegerField(source="of.machines")
    between_failures = BetweenOut(source="between", allow_null=True)
    hours_to_fix = TypicalOut(source="to_fix")
    fixed_first_time = FixedShareOut(source="first_time")
    labour = Money(source="of.labour")
    parts = Money(source="of.parts")
    upkeep = Money(source="upkeep_cost")
    cost_by_month = Money(source="per_month", allow_null=True)

    def get_machine(self, figures: Any) -> int | None:
        return None if figures.alike is not None else figures.of.key


class ReliabilityOut(serializers.Serializer):
    """`machines` are those with most failures first, at most 500; the file has them all."""

    since = Moment()
    until = Moment()
    kinds = FiguresOut(many=True)
    machines = FiguresOut(many=True)


class ReliabilityQuery(Shape):
    months = serializers.IntegerField(min_value=1, max_value=60, required=False, default=12)
    kind = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False)
