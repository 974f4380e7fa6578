"""How cash between the machine and the bank is written in JSON."""

from rest_framework import serializers

from api.shapes import Choice, ListedRef, Moment, Money, Number, Ref, RowShape, Shape
from fleet.machines.models import Machine, Site
from fleet.sales.models import (
    Bag,
    BagCount,
    BagCountLine,
    BagStep,
    BankedBag,
    Banking,
    BankingConfirmed,
    CashLimits,
    HostFloatLine,
    TubeFill,
)
from fleet.sales.queries.bags import STATES
from fleet.sales.queries.differences import BYS
from people.models import Person


def somebody() -> Ref:
    return Ref(
        queryset=Person.objects.filter(is_active=True),
        required=False,
        allow_null=True,
        help_text="Who counted along, or saw it too.",
    )


def note() -> serializers.CharField:
    return serializers.CharField(max_length=300, required=False, allow_blank=True, default="")


def out_of_bag() -> Ref:
    return Ref(
        queryset=Bag.objects.all(),
        required=False,
        allow_null=True,
        help_text="The counted bag whose money it was; left out: other money.",
    )


class BagCountLineOut(RowShape):
    class Meta:
        model = BagCountLine
        fields = (
            *("kind", "how", "denomination_minor", "number", "weight_g", "amount_minor"),
            *("least_minor", "most_minor", "said"),
        )


class BagCountOut(RowShape):
    amount = Money()
    counted_by_name = serializers.CharField(source="counted_by.name")
    second_name = serializers.CharField(source="second.name", default=None, allow_null=True)
    lines = BagCountLineOut(many=True, help_text="By denomination, in minor units; may be empty.")

    class Meta:
        model = BagCount
        fields = (
            *("id", "amount", "counted_at", "recorded_at", "counted_by", "counted_by_name"),
            *("second", "second_name", "note", "lines"),
        )


class BagStepOut(RowShape):
    by_name = serializers.CharField(source="by.name")
    second_name = serializers.CharField(source="second.name", default=None, allow_null=True)

    class Meta:
        model = BagStep
        fields = (
            *("id", "what", "at", "recorded_at", "by", "by_name", "second", "second_name"),
            "note",
        )


class BagOut(RowShape):
    asset_tag = serializers.CharField(source="machine.asset_tag")
    site_name = serializers.CharField(allow_null=True, help_text="Where the machine stands now.")
    sealed_by_name = serializers.CharField(source="sealed_by.name")
    state = Choice(choices=STATES, help_text="Where the bag is.")
    amount = Money(allow_null=True, help_text="As last counted; null: it waits to be counted.")
    taken = Money(help_text="What was taken out of it for change.")
    counts = BagCountOut(many=True, help_text="The last recorded first; it holds.")
    steps = BagStepOut(many=True, help_text="What happened to it besides, in order of time.")

    class Meta:
        model = Bag
        fields = (
            *("id", "seal_number", "machine", "asset_tag", "site_name", "sealed_at"),
            *("sealed_by", "sealed_by_name", "state", "amount", "taken", "counts", "steps"),
        )


class ExpectedOut(Shape):
    amount = Money(allow_null=True, help_text="Null: not known, and `said` says why.")
    basis = serializers.CharField(help_text="`meter`, `sales`, or empty where not known.")
    since = Moment(allow_null=True)
    until = Moment(allow_null=True)
    exact = serializers.BooleanField(help_text="A read was taken at either visit.")
    said = serializers.CharField()


class CountLineIn(Shape):
    kind = Choice(choices=BagCountLine.Kind.choices)
    how = Choice(choices=BagCountLine.How.choices)
    denomination_minor = serializers.IntegerField(
        required=False,
        allow_null=True,
        min_value=1,
        max_value=10**7,
        help_text="Left out with coins by weight: dimes, quarters and half dollars mixed.",
    )
    number = serializers.IntegerField(required=False, allow_null=True, min_value=0, max_value=10**6)
    weight_g = Number(
        required=False,
        allow_null=True,
        min_value=0,
        max_digits=9,
        decimal_places=3,
        help_text="Empty of its box.",
    )
    amount_minor = serializers.IntegerField(
        required=False, allow_null=True, min_value=0, max_value=10**9
    )


class BagCountIn(Shape):
    amount = Money(
        required=False,
        allow_null=True,
        min_value=0,
        help_text="Coins and notes together; left out: what `lines` come to.",
    )
    lines = CountLineIn(many=True, required=False, help_text="By denomination.")
    counted_at = Moment()
    second = somebody()
    note = note()
    after = serializers.IntegerField(
        required=False,
        allow_null=True,
        min_value=0,
        max_value=2**63 - 1,
        help_text="The last count that was seen, 0 for none; refused if there is another.",
    )


class BagStepIn(Shape):
    what = Choice(choices=BagStep.What.choices)
    at = Moment()
    second = somebody()
    note = note()


class ReceiveBagsIn(Shape):
    bags = serializers.ListField(
        child=serializers.IntegerField(min_value=1, max_value=2**63 - 1),
        min_length=1,
        max_length=500,
        help_text="Ids of sealed bags.",
    )
    at = Moment()
    second = somebody()
    note = note()


class ReceivedOut(Shape):
    received = serializers.ListField(child=serializers.IntegerField())


class BankedBagOut(RowShape):
    seal_number = serializers.CharField(source="bag.seal_number")
    asset_tag = serializers.CharField(source="bag.machine.asset_tag")
    amount = Money()

    class Meta:
        model = BankedBag
        fields = ("bag", "seal_number", "asset_tag", "amount")


class BankingConfirmedOut(RowShape):
    amount = Money()
    by_name = serializers.CharField(source="by.name")

    class Meta:
        model = BankingConfirmed
        fields = (
            *("id", "amount", "confirmed_on", "reference", "recorded_at", "by", "by_name"),
            "note",
        )


class BankingOut(RowShape):
    amount = Money(help_text="As the slip says.")
    held = Money(help_text="What the bags held by their counts, less change taken out.")
    confirmed = Money(allow_null=True, help_text="As the bank said last; null: not yet.")
    off = Money(allow_null=True, help_text="Confirmed less the slip.")
    by_name = serializers.CharField(source="by.name")
    banked = BankedBagOut(many=True)
    confirmations = BankingConfirmedOut(many=True, help_text="The last recorded first; it holds.")

    class Meta:
        model = Banking
        fields = (
            *("id", "slip_number", "amount", "held", "confirmed", "off", "banked_at"),
            *("recorded_at", "by", "by_name", "note", "taken_back_at", "taken_back_why"),
            *("banked", "confirmations"),
        )


class BankingBagIn(Shape):
    bag = ListedRef(queryset=Bag.objects.all())


class BankingIn(Shape):
    bags = BankingBagIn(many=True, help_text="Counted bags that are not banked.")
    slip_number = serializers.CharField(max_length=40)
    amount = Money(min_value=0, help_text="As the slip says.")
    held = Money(
        required=False,
        allow_null=True,
        help_text="What the bags were seen to hold: refused if that is no longer so.",
    )
    banked_at = Moment()
    note = note()


class BankingConfirmIn(Shape):
    amount = Money(min_value=0, help_text="What the bank received.")
    confirmed_on = serializers.DateField(help_text="The day on the bank's statement.")
    reference = serializers.CharField(max_length=60, required=False, allow_blank=True, default="")
    note = note()


class BankingTakeBackIn(Shape):
    reason = serializers.CharField(max_length=300)


class TubeFillOut(RowShape):
    amount = Money()
    asset_tag = serializers.CharField(source="machine.asset_tag")
    by_name = serializers.CharField(source="by.name")

    class Meta:
        model = TubeFill
        fields = (
            *("id", "machine", "asset_tag", "way", "amount", "at", "recorded_at", "by"),
            *("by_name", "from_bag", "note"),
        )


class TubeFillIn(Shape):
    machine = Ref(queryset=Machine.objects.all())
    way = Choice(choices=TubeFill.Way.choices)
    amount = Money(min_value=0)
    at = Moment()
    from_bag = out_of_bag()
    note = note()


class FloatLineOut(RowShape):
    amount = Money(help_text="What it adds; below zero it takes away.")
    found = Money(allow_null=True, help_text="What a count found.")
    site_name = serializers.CharField(source="site.name")
    by_name = serializers.CharField(source="by.name")

    class Meta:
        model = HostFloatLine
        fields = (
            *("id", "site", "site_name", "what", "amount", "found", "at", "recorded_at", "by"),
            *("by_name", "from_bag", "reference", "note"),
        )


class FloatLineIn(Shape):
    site = Ref(queryset=Site.objects.all())
    what = Choice(choices=HostFloatLine.What.choices)
    amount = Money(min_value=0, help_text="How much, or what a count found.")
    at = Moment()
    from_bag = out_of_bag()
    reference = serializers.CharField(max_length=60, required=False, allow_blank=True, default="")
    note = note()


class HostFloatOut(RowShape):
    site = serializers.IntegerField(source="pk")
    site_name = serializers.CharField(source="name")
    held = Money(help_text="By its lines; below zero the host is owed so much.")
    last_at = Moment()

    class Meta:
        model = Site
        fields = ("site", "site_name", "held", "last_at")


class WaitsOut(Shape):
    state = serializers.CharField()
    words = serializers.CharField()
    number = serializers.IntegerField()
    amount = Money(help_text="As far as counted.")
    late = serializers.IntegerField(help_text="How many wait longer than is usual.")
    allowed_days = serializers.IntegerField(help_text="As `/cash-limits` says; then it is late.")


class OpenOut(Shape):
    state = serializers.CharField()
    words = serializers.CharField()
    bag_id = serializers.IntegerField(allow_null=True)
    banking_id = serializers.IntegerField(allow_null=True)
    label = serializers.CharField(help_text="The seal or the slip.")
    machine = serializers.CharField(allow_blank=True)
    since = Moment()
    days = serializers.IntegerField()
    amount = Money(allow_null=True, help_text="Null: not counted yet.")


class CustodyOut(Shape):
    waits = WaitsOut(many=True, help_text="All that waits, by where it is.")
    shown = OpenOut(many=True, help_text="What waits longer than usual, the longest first.")
    left_out = serializers.IntegerField(help_text="How many more wait so long.")


class DifferencesQuery(Shape):
    since = Moment(help_text="Bags sealed from this moment on.")
    until = Moment(help_text="Bags sealed before this moment; at most 370 days later.")
    by = Choice(choices=BYS, required=False, default="machine")
    machine = serializers.IntegerField(required=False, min_value=1, max_value=2**63 - 1)


class SubjectOut(Shape):
    key = serializers.IntegerField(help_text="Of the machine or the person.")
    label = serializers.CharField()
    bags = serializers.IntegerField(help_text="Bags that could be compared.")
    left_out = serializers.IntegerField(help_text="Bags that could not.")
    expected = Money()
    counted = Money()
    difference = Money(help_text="Counted less expected; below zero is short.")
    short = serializers.IntegerField(help_text="Bags short by more than chance explains.")
    over = serializers.IntegerField(help_text="Bags over by more than chance explains.")
    repeatedly_short = serializers.BooleanField(source="repeated.repeated")
    said = serializers.CharField(source="repeated.said")


class ComparedOut(Shape):
    bag = serializers.IntegerField(source="bag.bag_id")
    seals = serializers.ListField(child=serializers.CharField(), source="bag.together")
    machine = serializers.IntegerField(source="bag.machine_id")
    asset_tag = serializers.CharField(source="bag.asset_tag")
    sealed_at = Moment(source="bag.sealed_at")
    counted = Money(source="bag.counted", allow_null=True)
    expected = ExpectedOut(source="bag.expected")
    difference = Money(source="bag.difference", allow_null=True)
    by_chance = Money(source="band.most", help_text="What chance explains, either way.")
    band_said = serializers.CharField(source="band.said")
    short = serializers.BooleanField(source="judged.short", default=None, allow_null=True)
    over = serializers.BooleanField(source="judged.over", default=None, allow_null=True)


class DifferencesOut(Shape):
    since = Moment()
    until = Moment()
    by = serializers.CharField()
    subjects = SubjectOut(many=True, help_text="Those with the most missing first.")
    bags = ComparedOut(many=True, help_text="In order of time, 2,000 at most.")
    bags_left_out = serializers.IntegerField()


class CashLimitsOut(RowShape):
    class Meta:
        model = CashLimits
        fields = (
            *("to_receive_days", "to_count_days", "opened_days", "to_bank_days"),
            *("to_confirm_days", "updated_at"),
        )
        read_only_fields = ("updated_at",)
