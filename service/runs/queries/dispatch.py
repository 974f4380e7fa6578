"""The dispatcher's board: open tickets beside the runs of a day, and whether it has changed."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Count, Max, Q, QuerySet

from people.models import Person
from service.tickets.models import Ticket, TicketEvent
from service.tickets.queries.history import repeats_of
from service.tickets.states import Verb

from ..days import Day, day_of
from ..models import BoardView, DriverProfile, Run, Stop, TicketStop
from ..ticketed import span_said
from .calendar import Calendar, OnDuty

SOON = timedelta(hours=2)
SHOWS = {"nobody": "nobody's", "open": "all that are open", "late": "late or soon due"}
MOST_TOLD = 5
LEAST_OF_REFERENCE = 4


@dataclass(frozen=True)
class Filters:
    """What of the open tickets is shown; what is empty narrows nothing."""

    search: str = ""
    urgency: str = ""
    symptom: int | None = None
    show: str = "nobody"
    depot: int | None = None


@dataclass(frozen=True, slots=True)
class Card:
    """A ticket as the board tells it. `due` in words; `pressing`: late, soon, or nothing."""

    ticket: Ticket
    due: str
    pressing: str
    promised: str
    again: bool
    where: str


@dataclass(frozen=True)
class Group:
    """Tickets of one urgency, the earliest promise first."""

    urgency: str
    words: str
    cards: Sequence[Card]


@dataclass
class Lane:
    """A driver's day: the run with its stops in order and its tickets, or no run yet."""

    driver: Person
    vehicle: str
    run: Run | None
    depot: int
    shift_ends: datetime
    stops: list[Stop] = field(default_factory=list)
    cards: list[Card] = field(default_factory=list)
    elsewhere: list[Card] = field(default_factory=list)
    """Given to the driver, and on no stop of this day."""

    @property
    def key(self) -> str:
        """How a form names the lane: a run, or a driver who has none."""
        return f"run-{self.run.pk}" if self.run else f"driver-{self.driver.pk}"

    @property
    def done(self) -> int:
        return sum(stop.state == Stop.State.DONE for stop in self.stops)

    @property
    def over_minutes(self) -> int:
        """How long after the shift the run ends."""
        if self.run is None:
            return 0
        return max(0, round((self.run.planned_end - self.run.shift_ends).total_seconds() / 60))


@dataclass(frozen=True)
class Dispatch:
    """The whole board."""

    day: Day
    now: datetime
    groups: Sequence[Group]
    waiting: Sequence[Card]
    lanes: Sequence[Lane]
    shown: int
    late: int
    nobody: int
    open_count: int
    cards: dict[int, Card]
    """Of what is shown, by the key of the ticket."""


def dispatch_board(on: date, filters: Filters, *, now: datetime) -> Dispatch:
    """The board of a day. The number of queries does not grow with tickets, drivers or stops."""
    day = day_of(on)
    tickets = list(_filtered(filters).order_by("promised_at", "-priority", "reported_at", "pk"))
    lanes = _lanes(day)
    again = repeats_of(tickets)
    zones: dict[int | None, ZoneInfo] = {}
    stops = {stop.pk: lane for lane in lanes for stop in lane.stops}
    drivers = {lane.driver.pk: lane for lane in lanes}
    groups: dict[str, list[Card]] = {value: [] for value in Ticket.Urgency.values}
    waiting: list[Card] = []
    cards: dict[int, Card] = {}
    for ticket in tickets:
        card = cards[ticket.pk] = _card(ticket, ticket.pk in again, now, zones, day.zone)
        on_stop = getattr(ticket, "ticket_stop", None)
        lane = stops.get(on_stop.stop_id) if on_stop else None
        if lane is not None:
            lane.cards.append(card)
        elif ticket.given_to_id in drivers:
            drivers[ticket.given_to_id].elsewhere.append(card)
        if ticket.state == Ticket.State.WAITING and ticket.given_to_id is None:
            waiting.append(card)
        elif _is_shown(card, filters.show):
            groups[ticket.urgency].append(card)
    if filters.depot:
        lanes = [lane for lane in lanes if lane.depot == filters.depot]
    counted = Ticket.objects.filter(state__in=Ticket.OPEN).aggregate(
        open=Count("pk"),
        nobody=Count("pk", filter=Q(given_to__isnull=True)),
        late=Count("pk", filter=Q(promised_at__lt=now, paused_at__isnull=True)),
    )
    found = [
        Group(value, str(Ticket.Urgency(value).label), several)
        for value, several in groups.items()
        if several
    ]
    return Dispatch(
        day=day,
        now=now,
        groups=found,
        waiting=waiting,
        lanes=lanes,
        shown=sum(len(one.cards) for one in found),
        late=counted["late"],
        nobody=counted["nobody"],
        open_count=counted["open"],
        cards=cards,
    )


def open_ticket(pk: int) -> Ticket | None:
    """An open ticket with all that the board tells of it, whatever the filters hide."""
    return _whole().filter(pk=pk).first()


def card_of(ticket: Ticket, *, now: datetime, zone: ZoneInfo) -> Card:
    """One ticket as the board tells it."""
    return _card(ticket, ticket.pk in repeats_of([ticket]), now, {}, zone)


def tickets_at(stops: Sequence[Stop]) -> dict[int, list[Ticket]]:
    """The open tickets that are seen to at stops, by the key of the stop. One query."""
    rows = (
        TicketStop.objects.filter(
            stop__in=[stop.pk for stop in stops], ticket__closed_at__isnull=True
        )
        .select_related("ticket__symptom", "ticket__column__position", "ticket__machine")
        .order_by("stop", "ticket")
    )
    found: dict[int, list[Ticket]] = {}
    for row in rows:
        found.setdefault(row.stop_id, []).append(row.ticket)
    return found


def digest_of(on: date) -> str:
    """A word for how the board of a day stands, cheap enough to be asked every few seconds."""
    tickets = Ticket.objects.filter(state__in=Ticket.OPEN).aggregate(
        count=Count("pk"), versions=Max("updated_at")
    )
    stops = Stop.objects.filter(run__date=on, run__agreed=True).aggregate(
        count=Count("pk"), latest=Max("updated_at"), runs=Max("run__updated_at")
    )
    tied = Stop.objects.filter(run__date=on, run__agreed=True).aggregate(
        count=Count("ticket_stops"), latest=Max("ticket_stops__put_at")
    )
    said = repr([sorted(one.items()) for one in (tickets, stops, tied)])
    return hashlib.sha256(said.encode()).hexdigest()[:16]


def last_event() -> int:
    """The key of the latest act on any ticket; 0 before the first."""
    return TicketEvent.objects.order_by("-pk").values_list("pk", flat=True).first() or 0


def told_since(event: int, *, but: Person) -> list[str]:
    """What others did to tickets since, the latest first: `Dev Castellane: 7Q2M4K1B given to …`."""
    rows = (
        TicketEvent.objects.filter(pk__gt=event)
        .exclude(actor=but)
        .select_related("actor", "ticket__machine")
        .order_by("-pk")[:MOST_TOLD]
    )
    return [
        f"{one.actor or 'A customer'}: {one.ticket.machine} {Verb(one.verb).words}"
        f"{f' {one.said}' if one.verb == Verb.GIVE else ''}"
        for one in rows
    ]


def views_of(person: Person) -> "QuerySet[BoardView]":
    return BoardView.objects.filter(person=person).order_by("name", "pk")


def due_in_words(ticket: Ticket, now: datetime) -> tuple[str, str]:
    """How long until the promise, or since it, and whether that presses."""
    if ticket.paused_at is not None:
        return "clock stopped", ""
    if ticket.promised_at is None:
        return "at the next visit", ""
    left = ticket.promised_at - now
    if left < timedelta(0):
        return f"late by {span_said(_minutes(-left))}", "late"
    return f"in {span_said(_minutes(left))}", "soon" if left <= SOON else ""


def _minutes(span: timedelta) -> int:
    return int(span.total_seconds()) // 60


def _whole() -> "QuerySet[Ticket]":
    return Ticket.objects.filter(state__in=Ticket.OPEN).select_related(
        "machine", "site", "symptom", "column__selection", "given_to", "ticket_stop"
    )


def _filtered(filters: Filters) -> "QuerySet[Ticket]":
    found = _whole()
    if filters.urgency:
        found = found.filter(urgency=filters.urgency)
    if filters.symptom:
        found = found.filter(symptom=filters.symptom)
    for word in filters.search.split():
        # Each word, anywhere: what a trigram index answers for. Of a reference a good part.
        wanted = (
            Q(machine__asset_tag__icontains=word)
            | Q(site__name__icontains=word)
            | Q(symptom__words__icontains=word)
            | Q(said__icontains=word)
        )
        if len(word) >= LEAST_OF_REFERENCE:
            wanted |= Q(reference__startswith=word.upper())
        found = found.filter(wanted)
    return found


def _is_shown(card: Card, show: str) -> bool:
    if show == "open":
        return True
    if show == "late":
        return bool(card.pressing)
    return card.ticket.given_to_id is None


def _card(
    ticket: Ticket,
    again: bool,
    now: datetime,
    zones: dict[int | None, ZoneInfo],
    home: ZoneInfo,
) -> Card:
    due, pressing = due_in_words(ticket, now)
    column = ticket.column
    where = ticket.site.name if ticket.site else ""
    if column is not None and column.selection is not None:
        where = f"{column.selection.code} · {where}" if where else column.selection.code
    promised = ""
    if ticket.promised_at is not None:
        if ticket.site_id not in zones:
            zones[ticket.site_id] = ticket.site.time_zone if ticket.site else home
        local = ticket.promised_at.astimezone(zones[ticket.site_id])
        today = now.astimezone(zones[ticket.site_id]).date()
        promised = (
            f"{local:%H:%M}" if local.date() == today else f"{local:%a} {local.day} {local:%b}"
        )
    return Card(ticket, due, pressing, promised, again, where)


def _lanes(day: Day) -> list[Lane]:
    runs = list(
        Run.objects.filter(date=day.date, agreed=True)
        .select_related("driver", "vehicle")
        .order_by("driver__name", "pk")
    )
    found = {
        run.pk: Lane(run.driver, run.vehicle.name, run, run.depot_id, run.shift_ends)
        for run in runs
    }
    stops = (
        Stop.objects.filter(run__in=found)
        .select_related("machine")
        .annotate(ticket_count=Count("ticket_stops"))
        .order_by("run", "sequence", "pk")
    )
    for stop in stops:
        found[stop.run_id].stops.append(stop)
    drivers = {run.driver_id for run in runs}
    vehicles = {run.vehicle_id for run in runs}
    idle = [
        _idle(one)
        for one in Calendar(day.date, day.date).duty(day.date).on
        if one.profile.person_id not in drivers and one.vehicle.pk not in vehicles
    ]
    return [*found.values(), *idle]


def _idle(one: OnDuty) -> Lane:
    return Lane(one.profile.person, one.vehicle.name, None, one.profile.depot_id, one.ends_at)


def profile_of(person: int) -> DriverProfile | None:
    return (
        DriverProfile.objects.filter(person=person)
        .select_related("person", "vehicle", "depot__site")
        .first()
    )
