"""Closing: what was wrong, what was done, what it took, and how a touched column was left."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

from django.db import transaction

from fleet.inventory.actions import moves as stock
from fleet.inventory.models import Movement, StockPlace
from fleet.machines.actions import changeovers, setups
from fleet.machines.models import Changeover, Column, DepthProgram, Product, SetUp
from people import audit
from people.errors import Unable, Unacceptable
from people.models import Business, Person
from people.roles import Role

from .. import outgoing, writing
from ..models import Cause, PartUsed, ServiceSettings, Ticket, WorkDone
from ..states import Verb

LONGEST_MINUTES = 24 * 60
MOST_PARTS = 1000


@dataclass(frozen=True)
class Part:
    """So many of a spare part that stayed in the machine."""

    product: Product
    quantity: int


@dataclass(frozen=True)
class ColumnLeft:
    """How a touched column was left, as read off the rails, the board and the door.

    `reason` says why it was left otherwise than a changeover that was planned for it, or with fewer
    test vends than the business asks for; `what_happened` tells of test vends that failed.
    """

    column: Column
    deep: int
    price: Decimal
    front_setting: int | None = None
    rear_setting: int | None = None
    program: DepthProgram | None = None
    orientation: str | None = None
    picture_matches: bool = True
    what_happened: str = ""
    reason: str = ""


@transaction.atomic
def close(
    *,
    ticket: Ticket,
    cause: Cause,
    work: str,
    minutes: int,
    actor: Person,
    now: datetime,
    parts: Sequence[Part] = (),
    place: StockPlace | None = None,
    test_vends_made: int = 0,
    test_vends_passed: int = 0,
    left: ColumnLeft | None = None,
    at: datetime | None = None,
    seen_version: int | None = None,
) -> WorkDone:
    """Close a ticket with the work that was done, whole or not at all.

    The parts leave `place` (a truck or a warehouse) through the ledger; a touched column's settings
    go through its changeover record. A driver closes what is given to them, was at the moment, or
    is given to nobody. Raises IllegalMove, ChangedMeanwhile, NotYours, Unacceptable, NotEnough and
    what completing a changeover raises.
    """
    row = writing.held(ticket, Verb.CLOSE, seen_version=seen_version)
    done_at = writing.when(row, at, now=now)
    _require_may_close(row, actor, done_at)
    _require_sound(cause, minutes, test_vends_made, test_vends_passed)
    _require_parts(parts, place)
    if row.on_site_at is not None and done_at < row.on_site_at:
        message = f"the work began at {row.on_site_at.isoformat()}, which is later"
        raise Unacceptable(message, fields={"at": message})
    movement = _fit(row, parts, place, actor=actor, at=done_at, now=now)
    changeover = (
        None
        if left is None
        else _leave(row, left, test_vends_made, test_vends_passed, actor=actor, at=done_at)
    )
    done = WorkDone.objects.create(
        ticket=row,
        cause=cause,
        work=work.strip(),
        minutes=minutes,
        labour_cost=_in_money(ServiceSettings.the().labour_per_hour * minutes / 60),
        parts_cost=sum(
            (one.product.cost * one.quantity for one in parts if one.product.cost is not None),
            Decimal(0),
        ),
        test_vends_made=test_vends_made,
        test_vends_passed=test_vends_passed,
        changeover=changeover,
        done_by=actor,
        done_at=done_at,
        first_time=row.reopens_id is None,
    )
    if movement is not None and place is not None:
        PartUsed.objects.bulk_create(
            PartUsed(
                work=done,
                product=one.product,
                quantity=one.quantity,
                place=place,
                unit_cost=one.product.cost,
                movement=movement,
            )
            for one in parts
        )
    audit.record(
        actor=actor,
        verb="note work done",
        row=done,
        now=now,
        after=audit.values(done) | {"parts": [[one.product.pk, one.quantity] for one in parts]},
    )
    # Whoever mended it had it in the end, whoever was to go.
    went = actor if row.given_to is None or actor.has_role(Role.DRIVER) else row.given_to
    changes: dict[str, Any] = {
        **writing.end_wait(row, done_at),
        "state": Ticket.State.CLOSED,
        "closed_at": done_at,
        "given_to": went,
    }
    said = f"{cause}{f': {done.work}' if done.work else ''}"
    data = {
        "work": done.pk,
        "cause": cause.code,
        "given_to": went.pk,
        "changeover": None if changeover is None else changeover.pk,
        "column_as_it_was": left is not None and changeover is None,
    }
    writing.write(row, Verb.CLOSE, changes, actor=actor, now=now, at=done_at, said=said, data=data)
    outgoing.tell(row, outgoing.Event.CLOSED, now=now)
    return done


def _require_may_close(row: Ticket, actor: Person, at: datetime) -> None:
    writing.require_holder(row, actor, at=at)


def _require_sound(cause: Cause, minutes: int, made: int, passed: int) -> None:
    wrong: dict[str, str] = {}
    if not cause.active:
        wrong["cause"] = f"{cause} is not in use any more; choose another cause"
    if not 0 <= minutes <= LONGEST_MINUTES:
        wrong["minutes"] = f"give 0 to {LONGEST_MINUTES} minutes"
    if not 0 <= made <= 1000:
        wrong["test_vends_made"] = "give 0 to 1000"
    if not 0 <= passed <= made:
        wrong["test_vends_passed"] = f"{passed} passed of {made} made"
    _refuse(wrong)


def _require_parts(parts: Sequence[Part], place: StockPlace | None) -> None:
    wrong: dict[str, str] = {}
    if parts and place is None:
        wrong["place"] = "say from which truck or warehouse the parts came"
    seen: set[int] = set()
    for index, part in enumerate(parts):
        if part.product.pk in seen:
            wrong[f"parts.{index}"] = f"{part.product} stands twice; give one number"
        elif not 1 <= part.quantity <= MOST_PARTS:
            wrong[f"parts.{index}"] = f"{part.product}: give 1 to {MOST_PARTS}"
        seen.add(part.product.pk)
    _refuse(wrong)


def _refuse(wrong: dict[str, str]) -> None:
    if wrong:
        raise Unacceptable("; ".join(f"{k}: {v}" for k, v in wrong.items()), fields=wrong)


def _fit(
    row: Ticket,
    parts: Sequence[Part],
    place: StockPlace | None,
    *,
    actor: Person,
    at: datetime,
    now: datetime,
) -> Movement | None:
    if not parts or place is None:
        return None
    return stock.fit_parts(
        place=place,
        items=[stock.Item(part.product, part.quantity) for part in parts],
        actor=actor,
        happened_at=at,
        now=now,
        note=f"{row.reference} at {row.machine}",
    )


def _leave(
    row: Ticket, left: ColumnLeft, made: int, passed: int, *, actor: Person, at: datetime
) -> Changeover | None:
    """Put the as-left settings on record: with the changeover that is open, else with one of its
    own. None when the column was left exactly as it was set."""
    column = left.column
    if column.machine_id != row.machine_id:
        message = f"{column} is not a column of {row.machine}"
        raise Unacceptable(message, fields={"left.column": message})
    setting = _setting(left)
    setups.require_setting(column=column, setting=setting, prefix="left.")
    changeover = (
        column.changeovers.filter(state__in=[Changeover.State.PLANNED, Changeover.State.IN_HAND])
        .select_related("product", "column")
        .first()
    )
    current = column.set_ups.filter(ends_at__isnull=True).select_related("product").first()
    if current is None:
        raise Unable(
            f"{column} is not set for any product; record how it is set first", code="no_set_up"
        )
    if changeover is not None and changeover.product_id != current.product_id:
        raise Unable(
            f"{column} is in a changeover to {changeover.product}; complete or abandon that first",
            code="column_in_changeover",
        )
    if changeover is None:
        if _as_it_was(current, setting):
            return None
        changeover = _plan(row, column, current, setting, actor=actor, at=at)
    if changeover.state == Changeover.State.PLANNED:
        changeover = changeovers.take(changeover=changeover, actor=actor, now=at)
    return changeovers.complete(
        changeover=changeover,
        as_left=changeovers.AsLeft(**setting),
        removed=(),
        test_vends_made=made,
        test_vends_passed=passed,
        picture_matches=left.picture_matches,
        actor=actor,
        now=at,
        what_happened=left.what_happened,
        mismatch_reason=left.reason,
    )


def _plan(
    row: Ticket,
    column: Column,
    current: SetUp,
    setting: dict[str, Any],
    *,
    actor: Person,
    at: datetime,
) -> Changeover:
    zone = Business.the().time_zone if row.site is None else row.site.time_zone
    by_hand = {name: value for name, value in setting.items() if name != "orientation"}
    plan = changeovers.plan(
        purpose=f"Ticket {row.reference}: {row.symptom}",
        planned_for=at.astimezone(zone).date(),
        lines=[changeovers.PlannedLine(column=column, product=current.product, **by_hand)],
        actor=actor,
        now=at,
    )
    return plan.changeovers.get()


def _setting(left: ColumnLeft) -> dict[str, Any]:
    return {
        "deep": left.deep,
        "front_setting": left.front_setting,
        "rear_setting": left.rear_setting,
        "program": left.program,
        "price": left.price,
        "orientation": left.orientation or setups.usual_orientation(left.column.position),
    }


def _as_it_was(current: SetUp, setting: dict[str, Any]) -> bool:
    return all(getattr(current, name) == value for name, value in setting.items())


def _in_money(amount: Decimal) -> Decimal:
    unit = Decimal(1).scaleb(-Business.the().currency_exponent)
    return amount.quantize(unit, rounding=ROUND_HALF_UP)
