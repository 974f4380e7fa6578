"""Service work that was done before the service was used, written down afterwards: from notebooks,
or another system's export. What is still open is reported like anything else."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

from django.db import models, transaction

from fleet.inventory.actions import ledger
from fleet.inventory.actions import moves as stock
from fleet.inventory.models import Movement, StockPlace
from fleet.machines.models import Column, Machine, Placement, Site
from people import audit, bulk
from people.errors import Unacceptable
from people.models import AuditEntry, Business, Person

from .. import writing
from ..models import (
    Cause,
    PartUsed,
    Refund,
    ServiceSettings,
    Symptom,
    Ticket,
    TicketEvent,
    WorkDone,
)
from ..states import Verb
from .closing import Part
from .refunds import contact_digest

Where = tuple[int, int, int | None]
"""Machine, symptom, column."""


@dataclass(frozen=True)
class PastRefund:
    """Money that a customer got back."""

    amount: Decimal
    method: str
    paid_at: datetime
    paid_by: Person


@dataclass(frozen=True)
class PastTicket:
    """A fault that was reported and mended. Without `given_at` nobody noted when it was given."""

    machine: Machine
    symptom: Symptom
    source: str
    reported_at: datetime
    closed_at: datetime
    done_by: Person
    cause: Cause
    minutes: int
    work: str = ""
    column: Column | None = None
    urgency: str = ""
    paid_how: str = ""
    said: str = ""
    given_at: datetime | None = None
    on_site_at: datetime | None = None
    test_vends_made: int = 0
    test_vends_passed: int = 0
    parts: Sequence[Part] = ()
    place: StockPlace | None = None
    refund: PastRefund | None = None
    because: Mapping[str, Any] = field(default_factory=dict)


@transaction.atomic
def write_down(*, tickets: Sequence[PastTicket], actor: Person, now: datetime) -> list[Ticket]:
    """Write down closed tickets with their work, parts, refunds and timelines, all or none.

    One that came back within the set time goes on from its first, as with reports of today. Nothing
    was promised then. The statements do not grow with their number. Raises Unacceptable by the
    number in the list, NotEnough.
    """
    _require_sound(tickets, now)
    asked = sorted(range(len(tickets)), key=lambda at: (tickets[at].reported_at, at))
    told = [tickets[at] for at in asked]
    sites = _sites(told)
    rows = [_ticket(one, sites.get(at), now) for at, one in enumerate(told)]
    # The keys are asked for first: a ticket that came back names its first.
    bulk.reserve(rows)
    broken = _link(rows)
    bulk.copy(rows)
    movements = _movements(told, rows, actor, now)
    settings, unit = ServiceSettings.the(), _unit()
    works = [
        WorkDone(
            ticket=row,
            cause=one.cause,
            work=one.work,
            minutes=one.minutes,
            labour_cost=_rounded(settings.labour_per_hour * one.minutes / 60, unit),
            parts_cost=sum((_cost(part) for part in one.parts), Decimal(0)),
            test_vends_made=one.test_vends_made,
            test_vends_passed=one.test_vends_passed,
            done_by=one.done_by,
            done_at=one.closed_at,
            first_time=row.pk not in broken and row.reopens_id is None,
        )
        for one, row in zip(told, rows, strict=True)
    ]
    bulk.write(works)
    bulk.write(
        [
            PartUsed(
                work=work,
                product=part.product,
                quantity=part.quantity,
                place=one.place,
                unit_cost=part.product.cost,
                movement=movements[row.pk],
            )
            for one, row, work in zip(told, rows, works, strict=True)
            for part in one.parts
        ]
    )
    refunds = [
        _refund(one.refund, row, now) for one, row in zip(told, rows, strict=True) if one.refund
    ]
    bulk.write(refunds)
    bulk.write(
        [
            event
            for one, row in zip(told, rows, strict=True)
            for event in _events(one, row, actor, now)
        ]
    )
    _audit([("write down ticket", rows), ("note work done", works)], actor, now)
    _audit([("write down refund", refunds)], actor, now)
    order = dict(zip(asked, rows, strict=True))
    return [order[at] for at in range(len(tickets))]


def _require_sound(tickets: Sequence[PastTicket], now: datetime) -> None:
    wrong: dict[str, str] = {}
    for index, one in enumerate(tickets):
        for name, said in _problems(one, now).items():
            wrong[f"tickets.{index}.{name}"] = said
    if wrong:
        raise Unacceptable("; ".join(f"{k}: {v}" for k, v in wrong.items()), fields=wrong)


def _problems(one: PastTicket, now: datetime) -> dict[str, str]:
    wrong: dict[str, str] = {}
    times = [one.reported_at, one.given_at, one.on_site_at, one.closed_at]
    known = [time for time in times if time is not None]
    if known != sorted(known) or one.closed_at > now:
        wrong["closed_at"] = "reported, given, begun, closed: in this order, and not to come"
    if one.column is not None and one.column.machine_id != one.machine.pk:
        wrong["column"] = f"{one.column} is not a column of {one.machine}"
    for name, value, choices in (
        ("source", one.source, Ticket.Source.values),
        ("urgency", one.urgency or one.symptom.urgency, Ticket.Urgency.values),
        ("paid_how", one.paid_how, Ticket.Paid.values),
    ):
        if value not in choices:
            wrong[name] = f"{value!r} is none of {', '.join(filter(None, choices))}"
    if not 0 <= one.minutes <= 24 * 60:
        wrong["minutes"] = "give 0 to 1440 minutes"
    if not 0 <= one.test_vends_passed <= one.test_vends_made:
        wrong["test_vends_passed"] = f"{one.test_vends_passed} of {one.test_vends_made} made"
    if one.parts and one.place is None:
        wrong["place"] = "say from which truck or warehouse the parts came"
    if one.refund is not None and not one.reported_at <= one.refund.paid_at <= now:
        wrong["refund"] = "paid after it was reported, and not in the future"
    return wrong


def _sites(told: Sequence[PastTicket]) -> dict[int, Site]:
    """Where each machine stood when its fault was reported, by the number in the list."""
    stood: dict[int, list[Placement]] = {}
    placements = Placement.objects.filter(machine__in={one.machine.pk for one in told})
    for placement in placements.select_related("site"):
        stood.setdefault(placement.machine_id, []).append(placement)
    return {
        at: placement.site
        for at, one in enumerate(told)
        for placement in stood.get(one.machine.pk, ())
        if placement.starts_at <= one.reported_at
        and (placement.ends_at is None or placement.ends_at > one.reported_at)
    }


def _ticket(one: PastTicket, site: Site | None, now: datetime) -> Ticket:
    return Ticket(
        machine=one.machine,
        column=one.column,
        site=site,
        symptom=one.symptom,
        state=Ticket.State.CLOSED,
        urgency=one.urgency or one.symptom.urgency,
        source=one.source,
        paid_how=one.paid_how,
        said=one.said,
        because=dict(one.because),
        reported_at=one.reported_at,
        recorded_at=now,
        promised_by="written down afterwards",
        given_to=one.done_by,
        taken_at=one.given_at,
        on_site_at=one.on_site_at,
        closed_at=one.closed_at,
        version=1,
        updated_at=now,
    )


def _link(rows: Sequence[Ticket]) -> set[int]:
    """Name the first of each fault that came back; gives the keys of those that were not mended."""
    days = timedelta(days=ServiceSettings.the().reopen_days)
    latest: dict[Where, Ticket] = {}
    broken: set[int] = set()
    for row in rows:
        where = (row.machine_id, row.symptom_id, row.column_id)
        last = latest.get(where)
        if (
            last is not None
            and last.closed_at
            and timedelta(0) <= row.reported_at - last.closed_at <= days
        ):
            row.reopens_id = last.reopens_id or last.pk
            broken.add(last.pk)
        latest[where] = row
    return broken


def _movements(
    told: Sequence[PastTicket], rows: Sequence[Ticket], actor: Person, now: datetime
) -> dict[int, Movement]:
    with_parts = [
        (row, one, one.place)
        for one, row in zip(told, rows, strict=True)
        if one.parts and one.place is not None
    ]
    if not with_parts:
        return {}
    postings = [
        stock.parts_fitted(
            place=place,
            items=[stock.Item(part.product, part.quantity) for part in one.parts],
            happened_at=one.closed_at,
            note=f"{row.reference} at {row.machine}",
        )
        for row, one, place in with_parts
    ]
    found = ledger.post_all(postings=postings, actor=actor, now=now)
    return {row.pk: movement for (row, _, _), movement in zip(with_parts, found, strict=True)}


def _refund(paid: PastRefund, row: Ticket, now: datetime) -> Refund:
    return Refund(
        ticket=row,
        amount=paid.amount,
        method=paid.method,
        state=Refund.State.PAID,
        wanted_at=row.reported_at,
        ended_at=paid.paid_at,
        ended_by=paid.paid_by,
        contact_digest=contact_digest(row.contact_reach),
        updated_at=now,
    )


def _events(one: PastTicket, row: Ticket, actor: Person, now: datetime) -> list[TicketEvent]:
    told: list[tuple[Verb, datetime, Person | None, str, dict[str, Any]]] = [
        (Verb.REPORT, one.reported_at, None, "", {})
    ]
    if one.given_at is not None:
        given = {"given_to": one.done_by.pk}
        told.append((Verb.GIVE, one.given_at, actor, f"to {one.done_by}", given))
    if one.on_site_at is not None:
        told.append((Verb.ON_SITE, one.on_site_at, one.done_by, "", {}))
    said = f"{one.cause}{f': {one.work}' if one.work else ''}"
    told.append((Verb.CLOSE, one.closed_at, one.done_by, said, {"cause": one.cause.code}))
    return [
        TicketEvent(
            ticket=row, at=at, recorded_at=now, actor=who, verb=str(verb), said=said, data=data
        )
        for verb, at, who, said, data in told
    ]


def _audit(
    told: Sequence[tuple[str, Sequence[models.Model]]], actor: Person, now: datetime
) -> None:
    bulk.write(
        [
            AuditEntry(
                **audit.entry_values(actor=actor, verb=verb, row=row, now=now, after=_values(row))
            )
            for verb, rows in told
            for row in rows
        ]
    )


def _values(row: models.Model) -> dict[str, Any]:
    return writing.values(row) if isinstance(row, Ticket) else audit.values(row)


def _cost(part: Part) -> Decimal:
    return Decimal(0) if part.product.cost is None else part.product.cost * part.quantity


def _unit() -> Decimal:
    return Decimal(1).scaleb(-Business.the().currency_exponent)


def _rounded(amount: Decimal, unit: Decimal) -> Decimal:
    return amount.quantize(unit, rounding=ROUND_HALF_UP)
