"""How settlements of cards are written in JSON."""

from typing import Any

from rest_framework import serializers

from api.shapes import Choice, Money, Ref, RowShape, Shape
from fleet.machines.models import Machine
from fleet.sales.models import CardTerminal, SettlementFile, SettlementLine, SettlementMapping
from fleet.sales.queries.cards import MOST_DAYS


class SettlementMappingIn(RowShape):
    class Meta:
        model = SettlementMapping
        fields = (
            *("name", "date_column", "amount_column", "terminal_column", "fee_column"),
            *("reference_column", "day_order", "delimiter", "decimal_mark"),
            *("amounts_are_negative", "fees_are_negative"),
        )


class SettlementMappingOut(RowShape):
    class Meta:
        model = SettlementMapping
        fields = ("id", *SettlementMappingIn.Meta.fields, "updated_at")


class CardTerminalIn(RowShape):
    machine = Ref(queryset=Machine.objects.all())

    class Meta:
        model = CardTerminal
        fields = ("code", "machine", "starts_on")


class CardTerminalOut(RowShape):
    class Meta:
        model = CardTerminal
        fields = (
            *("id", *CardTerminalIn.Meta.fields, "ends_on"),
            *("instead_of", "withdrawn_at", "withdrawn_why"),
        )


class TerminalEndIn(Shape):
    ends_on = serializers.DateField(help_text="The first day it hangs there no more.")


class TerminalCorrectionIn(Shape):
    """What was wrong of an entry, as it should be; what is left out stays."""

    code = serializers.CharField(max_length=60, required=False)
    machine = Ref(queryset=Machine.objects.all(), required=False)
    starts_on = serializers.DateField(required=False)
    ends_on = serializers.DateField(
        required=False, allow_null=True, help_text="Null: it hangs there still."
    )
    why = serializers.CharField(max_length=300)


class TerminalWithdrawalIn(Shape):
    why = serializers.CharField(max_length=300)


class WhichColumns(Shape):
    mapping = Ref(
        queryset=SettlementMapping.objects.all(), help_text="Which column of the file says what."
    )
    name = serializers.CharField(
        required=False, default="", max_length=200, help_text="The name of a raw body's file."
    )


class SettlementOut(RowShape):
    line_count = serializers.IntegerField(source="count")
    without_machine = serializers.IntegerField(source="lacking")
    gross = Money()
    fee = Money()
    net = Money()
    columns = serializers.DictField(help_text="The mapping as it stood when it was taken in.")

    class Meta:
        model = SettlementFile
        fields = (
            *("id", "name", "sha256", "mapping", "columns", "loaded_at", "by"),
            *("line_count", "without_machine", "gross", "fee", "net"),
        )


class SettlementLineOut(RowShape):
    asset_tag = serializers.CharField(source="machine.asset_tag", default=None, allow_null=True)
    gross = Money(help_text="What customers paid.")
    fee = Money()
    net = Money()

    class Meta:
        model = SettlementLine
        fields = (
            *("id", "file", "row", "day", "terminal", "machine", "asset_tag"),
            *("gross", "fee", "net", "reference"),
        )


class UnmatchedLineOut(SettlementLineOut):
    why = serializers.CharField(help_text="Why it has no machine.")

    class Meta(SettlementLineOut.Meta):
        fields = (*SettlementLineOut.Meta.fields, "why")


class MatchedAsked(Shape):
    since = serializers.DateField(help_text="The first day, on the calendar of the business.")
    until = serializers.DateField(help_text="The day after the last.")
    machine = Ref(queryset=Machine.objects.all(), required=False, help_text="Of one machine.")
    tolerance = Money(
        required=False, min_value=0, help_text="What the days of a machine may differ together."
    )
    only = Choice(choices=["all", "mismatches"], required=False, default="all")

    def validate(self, given: dict[str, Any]) -> dict[str, Any]:
        days = (given["until"] - given["since"]).days
        if not 0 < days <= MOST_DAYS:
            raise serializers.ValidationError(
                {"until": f"give a day 1 to {MOST_DAYS} days after `since`"}
            )
        return given


class SettlementExportAsked(MatchedAsked):
    rows = Choice(
        choices=["machines", "days"],
        required=False,
        default="machines",
        help_text="A row for each machine, or one for each of its days.",
    )


class MatchedDayOut(serializers.Serializer):
    day = serializers.DateField()
    counted = Money(allow_null=True, help_text="Null: no read tells of the day.")
    told = serializers.ChoiceField(
        choices=["whole", "in part", "no read"],
        help_text="How much of the day reads tell of; of one told in part, more may have been sold "
        "than was counted.",
    )
    settled = Money()
    difference = Money(allow_null=True)
    fee = Money()


class MatchedMachineOut(serializers.Serializer):
    machine = serializers.IntegerField(source="machine_id")
    asset_tag = serializers.CharField(source="machine")
    counted = Money()
    settled = Money(help_text="Of the days that reads tell of.")
    difference = Money()
    fee = Money()
    why = serializers.CharField(help_text="What does not agree; empty where it does.")
    days = MatchedDayOut(many=True)


class MatchedOut(serializers.Serializer):
    since = serializers.DateField()
    until = serializers.DateField()
    fees = Money()
    machines = MatchedMachineOut(many=True, help_text="Those that do not agree first.")
    unmatched = UnmatchedLineOut(many=True, help_text="Lines that found no machine.")
