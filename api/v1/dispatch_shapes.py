"""What is asked and answered where tickets are put on runs."""

from rest_framework import serializers

from api.shapes import Ref, Shape
from service.runs.models import DriverProfile
from service.tickets.models import Ticket

from .runs_shapes import RUNS, ChangeOut, StopOut
from .tickets_shapes import TicketLine

TICKETS = Ticket.objects.select_related(
    "machine", "column__position", "site", "symptom", "owner", "given_to"
)
SEEN = r"^\d{1,9}-[0-9a-f]{0,16}$"


class OffersQuery(Shape):
    ticket = Ref(queryset=TICKETS)
    day = serializers.DateField(required=False, help_text="Left out: today.")


class WouldBeLateOut(serializers.Serializer):
    what = serializers.CharField()
    minutes = serializers.IntegerField()


class PartOut(serializers.Serializer):
    product = serializers.IntegerField(source="likely.product.pk")
    product_name = serializers.CharField(source="likely.product.name")
    used_in = serializers.IntegerField(
        source="likely.used_in",
        allow_null=True,
        help_text="Closed tickets of this symptom that took it; null: the column's own product.",
    )
    of = serializers.IntegerField(source="likely.of", allow_null=True)
    aboard = serializers.IntegerField(source="units", help_text="So many are on the truck.")
    elsewhere = serializers.CharField(allow_blank=True)


class OfferOut(serializers.Serializer):
    """What giving the ticket to one driver would mean."""

    driver = serializers.IntegerField(source="driver.pk", help_text="A person.")
    driver_name = serializers.CharField(source="driver.name")
    run = serializers.IntegerField(source="run.pk", default=None, allow_null=True)
    vehicle = serializers.CharField(source="vehicle.name")
    how = serializers.ChoiceField(choices=["there", "between", "takes_over", "own_run"])
    position = serializers.IntegerField()
    minutes = serializers.IntegerField(help_text="More, for the driver's day.")
    metres = serializers.IntegerField()
    begins_at = serializers.DateTimeField()
    leaves_at = serializers.DateTimeField()
    run_ends_at = serializers.DateTimeField()
    late = WouldBeLateOut(many=True)
    faults = serializers.ListField(child=serializers.CharField())
    lacks = serializers.ListField(child=serializers.CharField(), help_text="Skills.")
    parts = PartOut(many=True)
    keeps_promise = serializers.BooleanField(allow_null=True)
    late_by_minutes = serializers.IntegerField(allow_null=True)
    said = serializers.CharField()
    seen = serializers.CharField(help_text="Sent back when it is given.")


class OffersOut(serializers.Serializer):
    ticket = serializers.IntegerField(source="ticket.pk")
    day = serializers.DateField()
    offers = OfferOut(many=True, help_text="The best first: that is the suggestion.")
    because = serializers.CharField(allow_blank=True, help_text="Why the first is suggested.")
    refused = serializers.CharField(allow_blank=True, help_text="Why there is no offer.")


class AssignIn(Shape):
    ticket = Ref(queryset=TICKETS)
    run = Ref(queryset=RUNS, required=False, allow_null=True)
    driver = Ref(
        queryset=DriverProfile.objects.select_related("person", "vehicle", "depot__site"),
        required=False,
        allow_null=True,
        help_text="Instead of a run, with a day: the driver's run, or a new one.",
    )
    day = serializers.DateField(required=False, allow_null=True)
    seen = serializers.RegexField(
        SEEN, required=False, help_text="As the offer gave it; refused when things changed since."
    )


class UnassignIn(Shape):
    ticket = Ref(queryset=TICKETS)
    reason = serializers.CharField(max_length=300)
    seen = serializers.RegexField(SEEN, required=False)


class AssignedOut(serializers.Serializer):
    ticket = TicketLine()
    stop = StopOut()
    change = ChangeOut()
