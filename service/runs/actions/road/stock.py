"""At the machine: count what is there, take out, fill."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from fleet.inventory.actions import counts, moves
from fleet.inventory.models import CountLine, Lot, Movement
from fleet.inventory.posting import ANY
from fleet.machines.models import Column, Product
from people.errors import Unacceptable
from people.models import Person

from ...models import RoadAct, Stop
from . import visiting
from .core import Answer, Doing, Sent, once

MOST_LINES = 200


@dataclass(frozen=True)
class Counted:
    """So many products were found in a column."""

    column: Column
    count: int


@dataclass(frozen=True)
class Filled:
    """So many of a product went from the truck into a column; the lot where it was read."""

    column: Column
    product: Product
    quantity: int
    lot: Lot | None = None


@dataclass(frozen=True)
class Removed:
    """So many of a product came out of a column: onto the truck, or to waste for a reason."""

    column: Column
    product: Product
    quantity: int
    waste_reason: str = ""
    lot: Lot | None = None


def count(
    *, stop: Stop, lines: Sequence[Counted], sent: Sent, actor: Person, now: datetime
) -> Answer:
    """What was found in columns, before anything was taken out or put in at that moment."""
    _require_lines(stop, lines)
    seen: set[int] = set()
    for index, one in enumerate(lines):
        if one.column.pk in seen:
            message = f"{one.column} stands twice; give one count"
            raise Unacceptable(message, fields={f"lines.{index}.column": message})
        seen.add(one.column.pk)
        if one.count < 0:
            message = "a count is not below zero"
            raise Unacceptable(message, fields={f"lines.{index}.count": message})

    def do(doing: Doing) -> None:
        visiting.be_there(doing)
        doing.counts += counts.count_columns(
            counts=[counts.ColumnCount(one.column, one.count) for one in lines],
            actor=actor,
            counted_at=doing.booked_at,
            now=now,
        )
        doing.columns |= seen
        doing.more["counts"] = [
            {
                "column": line.count.place.column_id,
                "product": line.product_id,
                "counted": line.counted,
                "book": line.book,
                "difference": line.difference,
            }
            for line in CountLine.objects.filter(count__in=doing.counts).select_related(
                "count__place"
            )
        ]

    return once(
        verb=RoadAct.Verb.COUNT,
        run=stop.run,
        stop=stop,
        sent=sent,
        said={"lines": [[one.column.pk, one.count] for one in lines]},
        actor=actor,
        now=now,
        do=do,
    )


def fill(
    *, stop: Stop, lines: Sequence[Filled], sent: Sent, actor: Person, now: datetime
) -> Answer:
    """Put products from the truck into columns; all lines or none.

    Raises NotEnough when the truck does not hold them, Unacceptable "over_capacity" for more than
    a column takes as it was set then, Unable "other_product" where it was set for another.
    """
    _require_lines(stop, lines)
    _require_quantities(lines)

    def do(doing: Doing) -> None:
        visiting.be_there(doing)
        doing.movements.append(
            moves.fill_columns(
                fills=[
                    moves.InColumn(
                        one.column, one.product, one.quantity, ANY if one.lot is None else one.lot
                    )
                    for one in lines
                ],
                truck=doing.run.vehicle.truck,
                actor=actor,
                happened_at=doing.booked_at,
                now=now,
            )
        )
        doing.columns.update(one.column.pk for one in lines)

    return once(
        verb=RoadAct.Verb.FILL,
        run=stop.run,
        stop=stop,
        sent=sent,
        said={
            "lines": [
                [one.column.pk, one.product.pk, one.quantity, one.lot and one.lot.pk]
                for one in lines
            ]
        },
        actor=actor,
        now=now,
        do=do,
    )


def remove(
    *, stop: Stop, lines: Sequence[Removed], sent: Sent, actor: Person, now: datetime
) -> Answer:
    """Take products out of columns, onto the truck or to waste; all lines or none."""
    _require_lines(stop, lines)
    _require_quantities(lines)
    for index, one in enumerate(lines):
        known = [value for value in Movement.WasteReason.values if value]
        if one.waste_reason and one.waste_reason not in known:
            message = f"{one.waste_reason!r} is none of {', '.join(known)}"
            raise Unacceptable(message, fields={f"lines.{index}.waste_reason": message})

    def do(doing: Doing) -> None:
        visiting.be_there(doing)
        take_out(doing, lines)

    return once(
        verb=RoadAct.Verb.REMOVE,
        run=stop.run,
        stop=stop,
        sent=sent,
        said={
            "lines": [
                [
                    one.column.pk,
                    one.product.pk,
                    one.quantity,
                    one.waste_reason,
                    one.lot and one.lot.pk,
                ]
                for one in lines
            ]
        },
        actor=actor,
        now=now,
        do=do,
    )


def take_out(doing: Doing, lines: Sequence[Removed]) -> None:
    """Move what came out of columns: one movement for what goes to the truck, one for each reason
    of waste."""
    for why in sorted({one.waste_reason for one in lines}):
        doing.movements.append(
            moves.remove_from_columns(
                removals=[
                    moves.InColumn(
                        one.column, one.product, one.quantity, ANY if one.lot is None else one.lot
                    )
                    for one in lines
                    if one.waste_reason == why
                ],
                to_place=None if why else doing.run.vehicle.truck,
                waste_reason=why,
                actor=doing.actor,
                happened_at=doing.booked_at,
                now=doing.now,
            )
        )
    doing.columns.update(one.column.pk for one in lines)


def _require_lines(stop: Stop, lines: Sequence[Counted | Filled | Removed]) -> None:
    if not 1 <= len(lines) <= MOST_LINES:
        message = f"{len(lines)} lines came; give 1 to {MOST_LINES}"
        raise Unacceptable(message, fields={"lines": message})
    for index, one in enumerate(lines):
        if one.column.machine_id != stop.machine_id:
            message = f"{one.column} is a column of another machine than {stop.machine}"
            raise Unacceptable(
                message, code="other_machine", fields={f"lines.{index}.column": message}
            )


def _require_quantities(lines: Sequence[Filled | Removed]) -> None:
    for index, one in enumerate(lines):
        if one.quantity < 1:
            message = "give at least one unit, or leave the line out"
            raise Unacceptable(message, fields={f"lines.{index}.quantity": message})
        if one.lot is not None and one.lot.product_id != one.product.pk:
            message = f"lot {one.lot} is not of {one.product}"
            raise Unacceptable(message, fields={f"lines.{index}.lot": message})
