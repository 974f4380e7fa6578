"""Recalls: opened, machines sent for, what was found taken out and proved, closed."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, Final

from django.db import transaction

from fleet.inventory.actions import moves
from fleet.inventory.models import Lot, Movement, StockPlace
from fleet.machines.models import Machine, Product
from people import rows
from people.errors import NotAllowed, Unable, Unacceptable
from people.models import Business, Person
from people.roles import Role
from service.runs.actions.must_go import must_go
from service.runs.models import Run, Stop

from ..models import Evidence, Recall, RecallRemoval, RecallVisit
from ..queries import recalls as where
from ..queries.recalls import Called
from . import evidence
from .errors import RecallClosed, RecallOpenAlready
from .evidence import GivenFile

CLOCK_AHEAD: Final = timedelta(minutes=10)
"""A device's clock may run so far ahead of ours."""
MOST_MACHINES: Final = 100
NAMED: Final = 5
GOODS: Final = ("lot_codes", "best_before_from", "best_before_until")
ROAD: Final = (Role.OWNER, Role.DISPATCHER, Role.DRIVER)


@dataclass(frozen=True)
class NotSent:
    """A machine that could not be put on a run, and why."""

    machine: Machine
    why: str


@dataclass(frozen=True)
class Sent:
    """The stops that machines have now, and the machines that could not be put on a run."""

    stops: tuple[Stop, ...]
    not_sent: tuple[NotSent, ...]


@transaction.atomic
def save(
    *, changes: Mapping[str, Any], actor: Person, now: datetime, recall: Recall | None = None
) -> Recall:
    """Open a recall, or change an open one.

    The same goods are called back once at a time: two recalls of them would share what was taken
    out between them, and neither could end. Raises Unacceptable, RecallClosed, RecallOpenAlready.
    """
    if recall is not None and recall.closed_at is not None:
        raise RecallClosed(recall)
    told = dict(changes)
    if "lot_codes" in told:
        codes = dict.fromkeys(one.strip() for one in str(told["lot_codes"]).split(","))
        told["lot_codes"] = ", ".join(code for code in codes if code)
    row = recall or Recall(opened_at=now, opened_by=actor)
    _require_other_goods(row, told)
    verb = "open recall" if recall is None else "change recall"
    return rows.put(row, told, actor=actor, verb=verb, now=now)


@transaction.atomic
def send(
    *,
    recall: Recall,
    machines: Sequence[Machine],
    actor: Person,
    now: datetime,
    day: date | None = None,
    run: Run | None = None,
) -> Sent:
    """Make each machine a stop that has to be gone to, on the runs of a day or on one run.

    A machine that is on such a run anyway keeps its place and has to be gone to from now on. Which
    could not be put on a run is told with its reason; the others are. Raises RecallClosed,
    Unacceptable.
    """
    held = _open(recall)
    if not 1 <= len(machines) <= MOST_MACHINES:
        message = f"choose 1 to {MOST_MACHINES} machines"
        raise Unacceptable(message, fields={"machines": message})
    if (day is None) == (run is None):
        message = "name either a day or a run"
        raise Unacceptable(message, fields={"day": message})
    said = f"Recall of {held.product}: take out {_lots_said(held)}. {held.reason}"[:300]
    stops: list[Stop] = []
    failed: list[NotSent] = []
    for machine in machines:
        try:
            with transaction.atomic():
                stop = must_go(
                    machine=machine,
                    code="recall",
                    reason=said,
                    day=day,
                    run=run,
                    actor=actor,
                    now=now,
                )
        except Unable as error:
            failed.append(NotSent(machine, error.message))
            continue
        stops.append(stop)
        rows.put(
            RecallVisit(recall=held, machine=machine, asked_by=actor),
            {"stop": stop, "asked_at": now},
            actor=actor,
            verb="send for recall",
            now=now,
        )
    return Sent(tuple(stops), tuple(failed))


@transaction.atomic
def remove(
    *,
    recall: Recall,
    place: StockPlace,
    quantity: int,
    at: datetime,
    actor: Person,
    now: datetime,
    lot: Lot | None = None,
    file: GivenFile | Evidence | None = None,
    note: str = "",
) -> RecallRemoval:
    """Write down what somebody found at a place and took out, with a picture of it.

    It goes to waste as recalled, through the ledger. Zero says that somebody looked and none was
    there.

    `lot` is as printed on it. Raises Unacceptable (also "over_capacity", for more than a column
    holds as it was set), NotAllowed, RecallClosed, and what the ledger refuses.
    """
    if not actor.has_role(*ROAD):
        raise NotAllowed("only drivers and the desk take goods out")
    held = _open(recall)
    if at > now + CLOCK_AHEAD:
        raise _refused("at", f"{Business.the().clock_of(at)} is still to come; give when it was")
    if not place.is_held:
        raise _refused("place", f"{place} is no place of ours")
    if quantity < 0:
        raise _refused("quantity", "give how many, or 0 where none was there")
    if lot is not None and lot.product_id != held.product_id:
        raise _refused("lot", f"{lot} is a lot of another product")
    if lot is not None and where.called(held, lot) is Called.NO:
        raise _refused("lot", f"{lot} is not called back")
    _require_could_hold(place, held.product, quantity, at)
    movement: Movement | None = None
    if quantity:
        movement = moves.waste(
            place=place,
            items=[moves.Item(held.product, quantity, lot)],
            waste_reason=Movement.WasteReason.RECALLED,
            actor=actor,
            happened_at=at,
            now=now,
            note=f"{held}"[:300],
        )
    facts = {
        "quantity": quantity,
        "movement": movement,
        "evidence": evidence.keep(file, actor=actor, now=now),
        "note": note.strip(),
        "happened_at": at,
    }
    return rows.put(
        RecallRemoval(recall=held, place=place, by=actor, at=now),
        facts,
        actor=actor,
        verb="take out recalled goods",
        now=now,
    )


@transaction.atomic
def close(
    *, recall: Recall, said: str, actor: Person, now: datetime, despite: bool = False
) -> Recall:
    """End a recall. While some of it is still held, or may be at a place where nobody looked, it
    stays open, unless `despite` says that it ends all the same and `said` why.

    Raises Unable "still_held", Unacceptable, RecallClosed.
    """
    held = _open(recall)
    words = said.strip()
    if not words:
        raise _refused("said", "say how it ended")
    if not despite:
        _require_gone(held)
    changes = {"closed_at": now, "closed_by": actor, "closed_said": words}
    return rows.put(held, changes, actor=actor, verb="close recall", now=now, reason=words)


def _require_gone(recall: Recall) -> None:
    looked = set(RecallRemoval.objects.filter(recall=recall).values_list("place", flat=True))
    left = [
        one for one in where.held(recall) if one.called is Called.YES or one.place.pk not in looked
    ]
    if not left:
        return
    told = "; ".join(f"{one.quantity} in {one.place}" for one in left[:NAMED])
    more = f" and {len(left) - NAMED} more places" if len(left) > NAMED else ""
    raise Unable(
        f"{recall}: still there, or nobody has looked: {told}{more}; take it out, or say that it "
        "ends all the same",
        code="still_held",
    )


def _require_other_goods(row: Recall, told: Mapping[str, Any]) -> None:
    """Whoever opens a recall of a product waits for another who does."""
    product = told.get("product") or (row.product if row.product_id else None)
    if product is None:
        return
    Product.objects.select_for_update(no_key=True, of=("self",)).get(pk=product.pk)
    goods = {name: told.get(name, getattr(row, name)) for name in GOODS}
    same = Recall.objects.filter(
        product=product, closed_at__isnull=True, lot_codes__iexact=goods["lot_codes"]
    ).exclude(pk=row.pk)
    for one in same:
        if (one.best_before_from, one.best_before_until) == (
            goods["best_before_from"],
            goods["best_before_until"],
        ):
            raise RecallOpenAlready(one)


def _require_could_hold(place: StockPlace, product: Product, quantity: int, at: datetime) -> None:
    """A column's level is an estimate and may be passed; what it holds at the most may not."""
    if place.column is None:
        return
    set_up = moves.set_ups_at([place.column], at).get(place.column.pk)
    if set_up is None or set_up.product_id != product.pk:
        return
    # A capacity of 0 is one that nobody could compute, for want of a size.
    if 0 < set_up.capacity < quantity:
        message = (
            f"{place.column} holds {set_up.capacity} as it was set; {quantity} cannot have been in"
        )
        raise Unacceptable(f"recall: {message}", code="over_capacity", fields={"quantity": message})


def _open(recall: Recall) -> Recall:
    held = (
        Recall.objects.select_for_update(of=("self",)).select_related("product").get(pk=recall.pk)
    )
    if held.closed_at is not None:
        raise RecallClosed(held)
    return held


def _lots_said(recall: Recall) -> str:
    parts = []
    if recall.codes:
        parts.append(f"lots {', '.join(recall.codes)}")
    if recall.best_before_from or recall.best_before_until:
        first = recall.best_before_from or "any day"
        last = recall.best_before_until or "any day"
        parts.append(f"best before {first} to {last}")
    return " with ".join(parts) or "all of it"


def _refused(field: str, message: str) -> Unacceptable:
    return Unacceptable(f"recall: {message}", fields={field: message})
