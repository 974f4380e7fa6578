"""At the machine: read it, change a column over, bag its cash."""

from collections.abc import Sequence
from datetime import datetime

from fleet.inventory.actions import counts, places
from fleet.inventory.models import Movement
from fleet.machines.actions import changeovers
from fleet.machines.models import Changeover, RemovedProduct
from fleet.sales.actions import bags
from fleet.sales.models import AuditRead
from people.errors import Unacceptable
from people.models import Person

from ...models import RoadAct, Stop
from . import stock, visiting
from .core import Answer, Doing, Sent, once

Condition = RemovedProduct.Condition
WASTED = {
    Condition.OUT_OF_DATE: Movement.WasteReason.OUT_OF_DATE,
    Condition.DAMAGED: Movement.WasteReason.DAMAGED,
}


def read(*, stop: Stop, read: AuditRead, sent: Sent, actor: Person, now: datetime) -> Answer:
    """Link an audit read, handed in before, to the visit. Raises Unacceptable for another machine's
    read."""
    if read.machine_id is not None and read.machine_id != stop.machine_id:
        message = f"read {read.pk} is of another machine than {stop.machine}"
        raise Unacceptable(message, code="other_machine", fields={"read": message})

    def do(doing: Doing) -> None:
        visiting.be_there(doing)
        doing.act.read = read
        doing.more["read"] = {"id": read.pk, "state": str(read.state)}

    return once(
        verb=RoadAct.Verb.READ,
        run=stop.run,
        stop=stop,
        sent=sent,
        said={"read": read.pk},
        actor=actor,
        now=now,
        do=do,
    )


def bag(*, stop: Stop, seal_number: str, sent: Sent, actor: Person, now: datetime) -> Answer:
    """Take the machine's cash under a seal; how much is counted later. Raises SealUsed."""

    def do(doing: Doing) -> None:
        visiting.be_there(doing)
        doing.act.bag = bags.seal(
            seal_number=seal_number,
            machine=stop.machine,
            sealed_at=doing.at,
            actor=actor,
            now=now,
        )
        doing.more["bag"] = {"id": doing.act.bag.pk, "seal_number": doing.act.bag.seal_number}

    return once(
        verb=RoadAct.Verb.BAG,
        run=stop.run,
        stop=stop,
        sent=sent,
        said={"seal_number": seal_number.strip()},
        actor=actor,
        now=now,
        do=do,
    )


def change_over(
    *,
    stop: Stop,
    changeover: Changeover,
    as_left: changeovers.AsLeft,
    removed: Sequence[changeovers.Removed],
    test_vends_made: int,
    test_vends_passed: int,
    picture_matches: bool,
    sent: Sent,
    actor: Person,
    now: datetime,
    what_happened: str = "",
    mismatch_reason: str = "",
) -> Answer:
    """Change a column over as planned, with how it was left.

    What came out goes to the truck, or to waste where it was out of date or damaged; the column
    then holds none of it. Raises what completing a changeover raises.
    """
    if changeover.column.machine_id != stop.machine_id:
        message = f"{changeover} is on another machine than {stop.machine}"
        raise Unacceptable(message, code="other_machine", fields={"changeover": message})

    def do(doing: Doing) -> None:
        visiting.be_there(doing)
        fresh = Changeover.objects.select_related("column").get(pk=changeover.pk)
        if fresh.state == Changeover.State.PLANNED:
            fresh = changeovers.take(changeover=fresh, actor=actor, now=doing.booked_at)
        doing.act.changeover = changeovers.complete(
            changeover=fresh,
            as_left=as_left,
            removed=removed,
            test_vends_made=test_vends_made,
            test_vends_passed=test_vends_passed,
            picture_matches=picture_matches,
            actor=actor,
            now=doing.booked_at,
            what_happened=what_happened,
            mismatch_reason=mismatch_reason,
        )
        _take_out(doing, doing.act.changeover, removed)
        doing.columns.add(fresh.column_id)
        doing.more["changeover"] = {
            "id": fresh.pk,
            "state": str(doing.act.changeover.state),
            "mismatches": doing.act.changeover.mismatches,
        }

    return once(
        verb=RoadAct.Verb.CHANGE_OVER,
        run=stop.run,
        stop=stop,
        sent=sent,
        said={
            "changeover": changeover.pk,
            "as_left": [
                as_left.deep,
                str(as_left.price),
                as_left.front_setting,
                as_left.rear_setting,
                as_left.program and as_left.program.pk,
                as_left.orientation,
            ],
            "removed": [[one.product.pk, str(one.condition), one.count] for one in removed],
            "test_vends": [test_vends_made, test_vends_passed],
            "picture_matches": picture_matches,
            "what_happened": what_happened,
            "mismatch_reason": mismatch_reason,
        },
        actor=actor,
        now=now,
        do=do,
    )


def _take_out(
    doing: Doing,
    changeover: Changeover,
    removed: Sequence[changeovers.Removed],
) -> None:
    """Book what came out, and that nothing else is in the column any more."""
    column = changeover.column
    lines = [
        stock.Removed(column, one.product, one.count, str(WASTED.get(Condition(one.condition), "")))
        for one in removed
        if one.count
    ]
    if lines:
        stock.take_out(doing, lines)
    emptied = {one.product for one in removed}
    if changeover.from_set_up is not None:
        emptied.add(changeover.from_set_up.product)
    # The same product set otherwise may have stayed in, as far as nobody says it came out.
    emptied.discard(changeover.product)
    if emptied:
        doing.counts.append(
            counts.count_place(
                place=places.column_place(column),
                counted={(product, None): 0 for product in emptied},
                actor=doing.actor,
                counted_at=doing.booked_at,
                now=doing.now,
            )
        )
