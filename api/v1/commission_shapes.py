"""How agreements with hosts and statements of commission are written in JSON."""

from rest_framework import serializers

from api.shapes import Choice, Money, Ref, RowShape, Shape, one_of
from fleet.compute.commission import InPart
from fleet.machines.models import Site
from fleet.sales.models import Agreement, Statement, StatementCorrection, StatementPayment


class TermsShape(Shape):
    """What a host is paid. Percents and amounts as text.

    `shares` are percents by product class, under "" of everything else; `steps` are pairs of an
    amount and the percent from there on; `base` names what is taken off receipts first. In a
    period that the agreement covers only partly, the minimum is owed and steps are reached by
    `days` or `whole`.
    """

    shares = serializers.DictField(child=serializers.CharField(max_length=12), required=False)
    steps = serializers.ListField(
        child=serializers.ListField(
            child=serializers.CharField(max_length=16), min_length=2, max_length=2
        ),
        required=False,
        max_length=20,
    )
    marginal = serializers.BooleanField(required=False, default=True)
    minimum = serializers.CharField(max_length=16, required=False, default="0")
    base = serializers.ListField(
        child=serializers.ChoiceField(choices=["tax", "deposit", "refunds"]),
        required=False,
        max_length=3,
    )
    minimum_in_part = Choice(
        choices=[one.value for one in InPart], required=False, default=InPart.DAYS.value
    )
    steps_in_part = Choice(
        choices=[one.value for one in InPart], required=False, default=InPart.WHOLE.value
    )


class CommissionAgreementIn(RowShape):
    site = Ref(queryset=Site.objects.all())
    terms = TermsShape()

    class Meta:
        model = Agreement
        fields = ("site", "starts_on", "ends_on", "rhythm", "terms", "note")


class CommissionAgreementOut(RowShape):
    terms = TermsShape()

    class Meta:
        model = Agreement
        fields = ("id", *CommissionAgreementIn.Meta.fields, "updated_at")


class DayQuery(Shape):
    """A day of the period that is meant."""

    day = serializers.DateField()


class StatementPreviewOut(Shape):
    """What would be issued; `digest` is what issuing it names."""

    starts_on = serializers.DateField()
    ends_on = serializers.DateField(help_text="The first day after it.")
    due = Money()
    digest = serializers.CharField()
    figures = serializers.DictField()


class StatementIn(Shape):
    """The agreement, a day of the period, and the digest of the preview that was looked at."""

    agreement = Ref(queryset=Agreement.objects.select_related("site"))
    day = serializers.DateField()
    seen = serializers.CharField(max_length=64)


class StatementRunIn(Shape):
    """The statements of every site with such a rhythm, for the period that a day lies in."""

    rhythm = one_of(Agreement.Rhythm)
    day = serializers.DateField()


class StatementRunOut(Shape):
    statements = serializers.ListField(child=serializers.IntegerField())


class CorrectionIn(Shape):
    amount = serializers.DecimalField(
        max_digits=12, decimal_places=4, help_text="More for the host; negative for less."
    )
    reason = serializers.CharField(max_length=300)


class PaymentIn(Shape):
    amount = Money()
    paid_on = serializers.DateField()
    reference = serializers.CharField(max_length=60, required=False, default="", allow_blank=True)


class CorrectionOut(RowShape):
    amount = Money()

    class Meta:
        model = StatementCorrection
        fields = ("id", "amount", "reason", "at", "by", "carried_on")


class PaymentOut(RowShape):
    amount = Money()

    class Meta:
        model = StatementPayment
        fields = ("id", "amount", "paid_on", "reference", "recorded_at", "by")


MONEY = (
    *("receipts", "base", "commission", "minimum_added", "amount"),
    *("carried", "carried_over", "due"),
)


class StatementOut(RowShape):
    receipts = Money()
    base = Money()
    commission = Money()
    minimum_added = Money()
    amount = Money()
    carried = Money(help_text="Corrections of earlier statements.")
    carried_over = Money(help_text="What earlier statements left below nothing, taken off here.")
    due = Money()
    paid = Money()
    open = Money(help_text="Nothing where what was left is carried over on another statement.")
    figures = serializers.DictField()
    corrections = CorrectionOut(many=True)
    payments = PaymentOut(many=True)

    class Meta:
        model = Statement
        fields = (
            *("id", "number", "agreement", "site", "starts_on", "ends_on", "currency"),
            *MONEY,
            *("paid", "open", "carried_over_on", "host_name", "issued_at", "issued_by"),
            "mailed_at",
            *("digest", "figures", "corrections", "payments"),
        )


class StatementBriefOut(RowShape):
    receipts = Money()
    due = Money()
    paid = Money()
    open = Money()

    class Meta:
        model = Statement
        fields = (
            *("id", "number", "agreement", "site", "starts_on", "ends_on", "currency"),
            *("receipts", "due", "paid", "open", "carried_over_on", "host_name"),
            *("issued_at", "mailed_at"),
        )
