"""A ticket and its timeline."""

import secrets

from django.conf import settings
from django.contrib.postgres.indexes import GinIndex, OpClass
from django.core.serializers.json import DjangoJSONEncoder
from django.core.validators import MaxValueValidator
from django.db import models
from django.db.models.functions import Upper

from fleet.machines.models import Column, Machine, Site

from .words import Symptom, Urgency

CROCKFORD = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
"""Base 32 without the letters that are taken for others (D. Crockford's alphabet)."""


def new_reference() -> str:
    """Eight characters of 5 bits: what the public looks a report up by, so that none is guessed."""
    return "".join(secrets.choice(CROCKFORD) for _ in range(8))


class Ticket(models.Model):
    """Something that is wrong with a machine, from the report to the end.

    What is written here changes with each act; the acts themselves are its events.
    """

    class State(models.TextChoices):
        NEW = "new", "new"
        GIVEN = "given", "given to somebody"
        ON_SITE = "on_site", "being worked on"
        WAITING = "waiting", "waiting"
        CLOSED = "closed", "closed"
        JOINED = "joined", "joined to another"
        DROPPED = "dropped", "dropped"

    OPEN = (State.NEW, State.GIVEN, State.ON_SITE, State.WAITING)
    ENDED = (State.CLOSED, State.JOINED, State.DROPPED)
    Urgency = Urgency

    class Source(models.TextChoices):
        PUBLIC = "public", "a customer, by the sticker"
        HOST = "host", "the host"
        DRIVER = "driver", "a driver"
        DESK = "desk", "the desk"
        WATCH = "watch", "the numbers"
        UPKEEP = "upkeep", "planned maintenance"
        EVENT = "event", "the machine's own event"

    class Paid(models.TextChoices):
        UNKNOWN = "", "not said"
        COINS = "coins", "coins"
        NOTES = "notes", "notes"
        CARD = "card", "card"
        PHONE = "phone", "phone"
        FREE = "free", "nothing was paid"

    class Priority(models.IntegerChoices):
        USUAL = 0, "in its turn"
        SOONER = 1, "before others"
        FIRST = 2, "first of all"

    reference = models.CharField(max_length=8, unique=True, default=new_reference, editable=False)
    machine = models.ForeignKey(Machine, on_delete=models.PROTECT, related_name="tickets")
    column = models.ForeignKey(
        Column, null=True, blank=True, on_delete=models.PROTECT, related_name="tickets"
    )
    site = models.ForeignKey(
        Site,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="tickets",
        help_text="Where the machine stood when it was reported.",
    )
    symptom = models.ForeignKey(Symptom, on_delete=models.PROTECT, related_name="tickets")
    state = models.CharField(max_length=8, choices=State.choices, default=State.NEW)
    urgency = models.CharField(max_length=10, choices=Urgency.choices)
    priority = models.PositiveSmallIntegerField(
        choices=Priority.choices, default=Priority.USUAL, validators=[MaxValueValidator(2)]
    )
    source = models.CharField(max_length=8, choices=Source.choices)
    paid_how = models.CharField(
        max_length=5, choices=Paid.choices, blank=True, default=Paid.UNKNOWN
    )
    said = models.TextField(blank=True, max_length=2000, help_text="In the words of the report.")
    contact_name = models.CharField(max_length=100, blank=True)
    contact_reach = models.CharField(
        max_length=200, blank=True, help_text="Telephone, e-mail or address, to answer or to pay."
    )
    contact_forgotten_at = models.DateTimeField(null=True, blank=True)
    because = models.JSONField(
        default=dict,
        blank=True,
        encoder=DjangoJSONEncoder,
        help_text="What raised it where no person did, with what was found.",
    )
    reported_at = models.DateTimeField(help_text="When it was seen, as the report says.")
    recorded_at = models.DateTimeField(help_text="When the service heard of it.")
    promised_at = models.DateTimeField(null=True, blank=True)
    promised_by = models.CharField(
        max_length=200, blank=True, help_text="The rule that the promise follows, in words."
    )
    paused_at = models.DateTimeField(null=True, blank=True, help_text="The clock stands since.")
    paused_minutes = models.PositiveIntegerField(
        default=0, help_text="Working minutes for which the clock stood, of pauses that are over."
    )
    waiting_for = models.CharField(max_length=300, blank=True)
    warned_at = models.DateTimeField(null=True, blank=True)
    escalated_at = models.DateTimeField(null=True, blank=True)
    owner = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="tickets_owned",
        help_text="Who at the desk looks after it.",
    )
    given_to = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="tickets_given",
        help_text="Who goes there.",
    )
    taken_at = models.DateTimeField(null=True, blank=True, help_text="Who goes has said so.")
    on_site_at = models.DateTimeField(null=True, blank=True)
    closed_at = models.DateTimeField(
        null=True, blank=True, help_text="When it ended: closed, joined to another or dropped."
    )
    joined_to = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="joined"
    )
    reopens = models.ForeignKey(
        "self",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="reopened_by",
        help_text="The first ticket of this fault, which was closed and came back.",
    )
    version = models.PositiveIntegerField(
        default=0, help_text="One more with each act; a page sends back which it saw."
    )
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["-reported_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(
                    state__in=["new", "given", "on_site", "waiting"], closed_at__isnull=True
                )
                | models.Q(state__in=["closed", "joined", "dropped"], closed_at__isnull=False),
                name="ticket_ended_has_its_time",
            ),
            models.CheckConstraint(
                condition=models.Q(state="joined", joined_to__isnull=False)
                | (~models.Q(state="joined") & models.Q(joined_to__isnull=True)),
                name="ticket_joined_to_something",
            ),
            models.CheckConstraint(
                condition=(
                    models.Q(state="waiting", paused_at__isnull=False) & ~models.Q(waiting_for="")
                )
                | (~models.Q(state="waiting") & models.Q(paused_at__isnull=True, waiting_for="")),
                name="ticket_waits_for_something",
            ),
            models.CheckConstraint(
                condition=~models.Q(state__in=["given", "on_site"])
                | models.Q(given_to__isnull=False),
                name="ticket_given_to_somebody",
            ),
            models.CheckConstraint(
                condition=~models.Q(state="new") | models.Q(given_to__isnull=True),
                name="ticket_new_is_nobodys",
            ),
            models.CheckConstraint(
                condition=models.Q(joined_to__isnull=True) | ~models.Q(joined_to=models.F("id")),
                name="ticket_not_joined_to_itself",
            ),
            models.CheckConstraint(
                condition=models.Q(priority__lte=2), name="ticket_priority_known"
            ),
        ]
        indexes = [
            models.Index(fields=["machine", "-reported_at"], name="ticket_of_machine"),
            models.Index(fields=["state", "-reported_at"], name="ticket_by_state"),
            models.Index(fields=["given_to", "state"], name="ticket_of_driver"),
            models.Index(
                fields=["promised_at"],
                condition=models.Q(state__in=["new", "given", "on_site"]),
                name="ticket_promise_running",
            ),
            models.Index(
                fields=["machine", "symptom"],
                condition=models.Q(state__in=["new", "given", "on_site", "waiting"]),
                name="ticket_open_of_machine",
            ),
            GinIndex(OpClass(Upper("said"), name="gin_trgm_ops"), name="ticket_said_search"),
        ]

    def __str__(self) -> str:
        return f"{self.reference} {self.machine}"

    @property
    def is_open(self) -> bool:
        return self.state in self.OPEN


class TicketEvent(models.Model):
    """One act on a ticket. Never changed or deleted."""

    ticket = models.ForeignKey(Ticket, on_delete=models.PROTECT, related_name="events")
    at = models.DateTimeField(help_text="When it happened, as told.")
    recorded_at = models.DateTimeField(help_text="When the service heard of it.")
    actor = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="Empty when nobody who works here did it.",
    )
    verb = models.CharField(max_length=20)
    said = models.TextField(blank=True)
    data = models.JSONField(default=dict, blank=True, encoder=DjangoJSONEncoder)

    class Meta:
        verbose_name = "ticket event"
        ordering = ["ticket", "at", "pk"]
        indexes = [models.Index(fields=["ticket", "at"], name="event_of_ticket")]

    def __str__(self) -> str:
        return f"{self.ticket}: {self.verb}"
