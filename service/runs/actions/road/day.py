"""The driver's day from leaving to coming back: start, arrive, leave, skip, end."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from fleet.inventory.actions import counts
from fleet.inventory.models import CountLine, Lot
from fleet.machines.models import Product
from fleet.sales.tasks import settle_machine
from people import audit
from people.errors import Unacceptable
from people.models import Person

from ...models import RoadAct, Run, Stop, Visit
from . import visiting
from .core import Answer, Doing, Sent, once, require_out
from .errors import RunEnded, StopNotToVisit


@dataclass(frozen=True)
class OnTruck:
    """So many of a product found on the truck; of one lot where lots were told apart."""

    product: Product
    count: int
    lot: Lot | None = None


def start(*, run: Run, sent: Sent, actor: Person, now: datetime) -> Answer:
    """Leave for the day's stops. What was not picked is short from now on."""

    def do(doing: Doing) -> None:
        held = doing.run
        if held.ended_at is not None and doing.at > held.ended_at:
            raise RunEnded(held)
        if held.started_at is None or doing.at < held.started_at:
            _change(doing, "start run", started_at=doing.at)
        if held.state != Run.State.ENDED:
            _change(doing, "start run", state=Run.State.OUT)

    return once(
        verb=RoadAct.Verb.START,
        run=run,
        stop=None,
        sent=sent,
        said={},
        actor=actor,
        now=now,
        do=do,
    )


def arrive(
    *, stop: Stop, sent: Sent, actor: Person, now: datetime, nobody_here: bool = False
) -> Answer:
    """Be at a machine. `nobody_here` ends the visit of somebody who forgot to tell of leaving."""

    def do(doing: Doing) -> None:
        visiting.be_there(doing, arriving=True, nobody_here=nobody_here)
        doing.columns.update(stop.machine.columns.values_list("pk", flat=True))

    return once(
        verb=RoadAct.Verb.ARRIVE,
        run=stop.run,
        stop=stop,
        sent=sent,
        said={"nobody_here": nobody_here},
        actor=actor,
        now=now,
        do=do,
    )


def leave(*, stop: Stop, sent: Sent, actor: Person, now: datetime) -> Answer:
    """Be done at a machine."""

    def do(doing: Doing) -> None:
        visiting.leave(doing)
        # What was sold since the count before is booked by the worker; nobody at a machine waits.
        machine = stop.machine_id
        transaction.on_commit(lambda: settle_machine.delay(machine), robust=True)
        doing.columns.update(stop.machine.columns.values_list("pk", flat=True))

    return once(
        verb=RoadAct.Verb.LEAVE,
        run=stop.run,
        stop=stop,
        sent=sent,
        said={},
        actor=actor,
        now=now,
        do=do,
    )


def skip(*, stop: Stop, reason: str, sent: Sent, actor: Person, now: datetime) -> Answer:
    """Pass a stop by, with the reason. Raises StopNotToVisit once it was visited."""
    why = reason.strip()
    if not why:
        raise Unacceptable("say why it is skipped", fields={"reason": "say why"})

    def do(doing: Doing) -> None:
        require_out(doing)
        held = doing.stop
        if held is None:
            raise TypeError("a skip names its stop")
        visit = Visit.objects.filter(stop=held).first()
        if visit is not None:
            if visit.arrived_at <= doing.at:
                raise StopNotToVisit(held, visit)
            doing.flag("visited_later", "the stop was visited after all, later")
            return
        held.state, held.skipped_because = Stop.State.SKIPPED, why[:300]
        held.save(update_fields=["state", "skipped_because", "updated_at"])

    return once(
        verb=RoadAct.Verb.SKIP,
        run=stop.run,
        stop=stop,
        sent=sent,
        said={"reason": reason},
        actor=actor,
        now=now,
        do=do,
    )


def end_day(
    *, run: Run, truck: Sequence[OnTruck] | None, sent: Sent, actor: Person, now: datetime
) -> Answer:
    """Come back. `truck` is all that was found on it, an empty list for nothing; None: not counted.

    What is not named was not there. The stock stays on the truck until it is unloaded.
    """
    _require_once_each(truck or ())

    def do(doing: Doing) -> None:
        require_out(doing)
        held = doing.run
        if held.ended_at is None:
            _change(doing, "end run", state=Run.State.ENDED, ended_at=doing.at)
        visiting.end_all(held, doing.at)
        if truck is not None:
            counted = counts.count_place(
                place=held.vehicle.truck,
                counted={(one.product, one.lot): one.count for one in truck},
                actor=actor,
                counted_at=doing.booked_at,
                now=now,
                whole=True,
            )
            doing.counts.append(counted)
        doing.more["differences"] = [] if truck is None else differences(doing)
        doing.more["not_visited"] = list(
            Stop.objects.filter(run=held, state=Stop.State.PLANNED).values_list("pk", flat=True)
        )

    return once(
        verb=RoadAct.Verb.END,
        run=run,
        stop=None,
        sent=sent,
        said={
            "truck": None
            if truck is None
            else [[one.product.pk, one.lot and one.lot.pk, one.count] for one in truck]
        },
        actor=actor,
        now=now,
        do=do,
    )


def differences(doing: Doing) -> list[dict[str, object]]:
    """Where what was counted is not what the book said."""
    lines = CountLine.objects.filter(count__in=doing.counts).select_related("product")
    return [
        {
            "product": line.product_id,
            "product_name": line.product.name,
            "lot": line.lot_id,
            "book": line.book,
            "counted": line.counted,
            "difference": line.difference,
        }
        for line in lines
        if line.difference
    ]


def _change(doing: Doing, verb: str, **changes: object) -> None:
    run = doing.run
    before = audit.values(run, changes)
    for name, value in changes.items():
        setattr(run, name, value)
    after = audit.values(run, changes)
    if before == after:
        return
    run.save(update_fields=[*changes, "updated_at"])
    audit.record(actor=doing.actor, verb=verb, row=run, now=doing.now, before=before, after=after)


def _require_once_each(truck: Sequence[OnTruck]) -> None:
    seen = set()
    for index, one in enumerate(truck):
        if one.count < 0:
            message = "a count is not below zero"
            raise Unacceptable(message, fields={f"truck.{index}.count": message})
        name = (one.product.pk, one.lot and one.lot.pk)
        if name in seen:
            message = f"{one.product} stands twice; give one count"
            raise Unacceptable(message, fields={f"truck.{index}.product": message})
        seen.add(name)
