"""What a ticket takes and gives."""

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from api.shapes import Choice, ListedRef, Moment, Money, Ref, RowShape, Shape, one_of
from fleet.inventory.models import StockPlace
from fleet.machines.models import Column, DepthProgram, Machine, Product, SetUp
from people.models import Person
from service.tickets.models import (
    Attachment,
    Cause,
    PartUsed,
    Refund,
    Symptom,
    Ticket,
    TicketEvent,
    WorkDone,
)
from service.tickets.queries.gates import sees_contact

Columns = Column.objects.select_related("machine", "position__kind", "selection")
MOST_PARTS = 50


class TicketLine(RowShape):
    asset_tag = serializers.CharField(source="machine.asset_tag")
    position = serializers.CharField(
        source="column.position.label", default=None, allow_null=True, help_text="Of the column."
    )
    site_name = serializers.CharField(source="site.name", default=None, allow_null=True)
    symptom_words = serializers.CharField(source="symptom.words")
    owner_name = serializers.CharField(source="owner.name", default=None, allow_null=True)
    given_to_name = serializers.CharField(source="given_to.name", default=None, allow_null=True)

    class Meta:
        model = Ticket
        fields = (
            "id",
            "reference",
            "machine",
            "asset_tag",
            "column",
            "position",
            "site",
            "site_name",
            "symptom",
            "symptom_words",
            "state",
            "urgency",
            "priority",
            "source",
            "paid_how",
            "said",
            "reported_at",
            "recorded_at",
            "promised_at",
            "promised_by",
            "paused_at",
            "paused_minutes",
            "waiting_for",
            "owner",
            "owner_name",
            "given_to",
            "given_to_name",
            "taken_at",
            "on_site_at",
            "closed_at",
            "joined_to",
            "reopens",
            "version",
            "updated_at",
        )


class ContactOut(serializers.Serializer):
    name = serializers.CharField(source="contact_name")
    reach = serializers.CharField(source="contact_reach")
    forgotten_at = Moment(source="contact_forgotten_at", allow_null=True)


class TicketEventOut(RowShape):
    actor_name = serializers.CharField(source="actor.name", default=None, allow_null=True)

    class Meta:
        model = TicketEvent
        fields = ("id", "at", "recorded_at", "actor", "actor_name", "verb", "said")


class RefundOut(RowShape):
    amount = Money()
    reference = serializers.CharField(source="ticket.reference")

    class Meta:
        model = Refund
        fields = (
            "id",
            "ticket",
            "reference",
            "amount",
            "method",
            "state",
            "wanted_at",
            "asked_by",
            "over_limit",
            "ended_at",
            "ended_by",
            "paid_out_by",
            "reason",
            "updated_at",
        )


class AttachmentOut(RowShape):
    class Meta:
        model = Attachment
        fields = ("id", "ticket", "name", "media_type", "size", "sha256", "added_by", "at")


class AttachmentsOut(serializers.Serializer):
    attachments = AttachmentOut(many=True, help_text="One for each file, in their order.")


class PartUsedOut(RowShape):
    product_name = serializers.CharField(source="product.name")
    unit_cost = Money(allow_null=True)

    class Meta:
        model = PartUsed
        fields = ("product", "product_name", "quantity", "place", "unit_cost", "movement")


class WorkDoneOut(RowShape):
    cause_words = serializers.CharField(source="cause.words")
    labour_cost = Money()
    parts_cost = Money(help_text="Of the parts whose cost is known.")
    parts = PartUsedOut(many=True)

    class Meta:
        model = WorkDone
        fields = (
            "cause",
            "cause_words",
            "work",
            "minutes",
            "labour_cost",
            "parts_cost",
            "parts",
            "test_vends_made",
            "test_vends_passed",
            "changeover",
            "done_by",
            "done_at",
            "first_time",
        )


class TicketOut(TicketLine):
    contact = serializers.SerializerMethodField(
        help_text="For the desk and whoever it is given to; null for others."
    )
    first_checks = serializers.SerializerMethodField()
    cautions = serializers.CharField(source="symptom.cautions", allow_blank=True)
    because = serializers.DictField(help_text="What raised it where no person did.")
    repeat_of = serializers.IntegerField(
        allow_null=True, help_text="The ticket of the same fault shortly before, if any."
    )
    events = TicketEventOut(many=True)
    refunds = RefundOut(many=True)
    attachments = AttachmentOut(many=True)
    work = WorkDoneOut(source="work_done", allow_null=True)

    class Meta(TicketLine.Meta):
        fields = (
            *TicketLine.Meta.fields,
            "contact",
            "first_checks",
            "cautions",
            "because",
            "repeat_of",
            "events",
            "refunds",
            "attachments",
            "work",
        )

    @extend_schema_field(ContactOut(allow_null=True))
    def get_contact(self, ticket: Ticket) -> dict[str, Any] | None:
        if not sees_contact(self.context["request"].user, ticket):
            return None
        return dict(ContactOut(ticket).data)

    def get_first_checks(self, ticket: Ticket) -> list[str]:
        return [line for line in ticket.symptom.first_checks.splitlines() if line.strip()]


class Seen(Shape):
    seen_version = serializers.IntegerField(
        required=False,
        allow_null=True,
        min_value=0,
        help_text="The version that was looked at: refused when another came in between.",
    )


class TicketReasonIn(Seen):
    reason = serializers.CharField(max_length=300)


class GiveIn(Seen):
    to = Ref(queryset=Person.objects.filter(is_active=True))


class NoteIn(Seen):
    said = serializers.CharField(max_length=2000)


class JoinIn(Seen):
    into = Ref(queryset=Ticket.objects.select_related("machine", "site"))


class RefundWantedIn(Shape):
    amount = Money()
    method = one_of(Refund.Method)


class ReportIn(Shape):
    machine = Ref(queryset=Machine.objects.select_related("kind"))
    symptom = Ref(queryset=Symptom.objects.all())
    column = Ref(queryset=Columns, required=False, allow_null=True)
    urgency = one_of(
        Ticket.Urgency, required=False, help_text="Left out: the usual one of the symptom."
    )
    priority = Choice(choices=Ticket.Priority.choices, required=False)
    source = Choice(
        choices=[(one.value, one.label) for one in (Ticket.Source.DESK, Ticket.Source.HOST)],
        required=False,
        default=Ticket.Source.DESK.value,
    )
    paid_how = Choice(choices=Ticket.Paid.choices, required=False, allow_blank=True)
    said = serializers.CharField(required=False, allow_blank=True, max_length=2000)
    contact_name = serializers.CharField(required=False, allow_blank=True, max_length=100)
    contact_reach = serializers.CharField(required=False, allow_blank=True, max_length=200)
    reported_at = Moment(required=False, help_text="When it was seen. Left out: now.")
    owner = Ref(queryset=Person.objects.filter(is_active=True), required=False, allow_null=True)
    refund = RefundWantedIn(required=False, allow_null=True)
    join = Ref(
        queryset=Ticket.objects.select_related("machine", "site"),
        required=False,
        allow_null=True,
        help_text="An open ticket of the same fault: the report is kept and joined to it.",
    )


class ReportedOut(serializers.Serializer):
    ticket = TicketOut()
    open_ones = TicketLine(many=True, help_text="Open on the same machine and symptom before it.")
    joined = serializers.BooleanField()


class ChangeIn(Shape):
    column = Ref(queryset=Columns, required=False, allow_null=True)
    symptom = Ref(queryset=Symptom.objects.all(), required=False)
    urgency = one_of(Ticket.Urgency, required=False)
    priority = Choice(choices=Ticket.Priority.choices, required=False)
    owner = Ref(queryset=Person.objects.filter(is_active=True), required=False, allow_null=True)


class PartIn(Shape):
    product = ListedRef(queryset=Product.objects.all())
    quantity = serializers.IntegerField(min_value=1, max_value=1000)


class ColumnLeftIn(Shape):
    """How a touched column was left, as read off the rails, the board and the door."""

    column = Ref(queryset=Columns)
    deep = serializers.IntegerField(min_value=1, max_value=99)
    price = Money(min_value=0)
    front_setting = serializers.IntegerField(
        required=False, allow_null=True, min_value=0, max_value=9999
    )
    rear_setting = serializers.IntegerField(
        required=False, allow_null=True, min_value=0, max_value=9999
    )
    program = Ref(queryset=DepthProgram.objects.all(), required=False, allow_null=True)
    orientation = Choice(
        choices=SetUp.Orientation.choices,
        required=False,
        help_text="Left out: the usual one of the position.",
    )
    picture_matches = serializers.BooleanField(required=False, default=True)
    what_happened = serializers.CharField(required=False, allow_blank=True, max_length=2000)
    reason = serializers.CharField(
        required=False,
        allow_blank=True,
        max_length=300,
        help_text="Why it differs from what was planned, or had fewer test vends than asked.",
    )


class WorkIn(Shape):
    """How a ticket is closed."""

    cause = Ref(queryset=Cause.objects.all())
    work = serializers.CharField(required=False, allow_blank=True, default="", max_length=2000)
    minutes = serializers.IntegerField(min_value=0, max_value=1440, help_text="At the machine.")
    parts = PartIn(many=True, required=False, default=list, max_length=MOST_PARTS)
    place = Ref(
        queryset=StockPlace.objects.all(),
        required=False,
        allow_null=True,
        help_text="The truck or warehouse that the parts came from.",
    )
    test_vends_made = serializers.IntegerField(
        required=False, default=0, min_value=0, max_value=1000
    )
    test_vends_passed = serializers.IntegerField(
        required=False, default=0, min_value=0, max_value=1000
    )
    left = ColumnLeftIn(required=False, allow_null=True, help_text="Where a column was touched.")


class CloseIn(WorkIn):
    at = Moment(required=False, help_text="When it was done. Left out: now.")
    seen_version = serializers.IntegerField(required=False, allow_null=True, min_value=0)


class PayIn(Shape):
    paid_out_by = serializers.CharField(
        required=False,
        allow_blank=True,
        max_length=100,
        help_text="Who handed it out, where it was not the desk.",
    )
    reason = serializers.CharField(
        required=False, allow_blank=True, max_length=300, help_text="Needed beyond a limit."
    )


class RefuseIn(Shape):
    reason = serializers.CharField(max_length=300)
