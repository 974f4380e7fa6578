"""At the warehouse: what was picked for the truck, what was short, what went in its place."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from fleet.inventory.actions import moves, places
from fleet.inventory.actions.moves import Item
from fleet.machines.models import Product
from people.errors import Unacceptable
from people.models import Person

from ...models import LoadLine, RoadAct, Run
from .core import Answer, Doing, Sent, once
from .errors import RunEnded


@dataclass(frozen=True)
class Picked:
    """So many in all were picked for a line of the load list, and so many of a substitute.

    Told again with other figures, the difference is moved; the latest telling stands.
    """

    line: LoadLine
    picked: int
    substitute: Product | None = None
    substituted: int = 0


@dataclass(frozen=True)
class Extra:
    """So many of a product taken along beside the load list."""

    product: Product
    quantity: int


def pick(
    *,
    run: Run,
    lines: Sequence[Picked],
    sent: Sent,
    actor: Person,
    now: datetime,
    extra: Sequence[Extra] = (),
) -> Answer:
    """Load the truck from its depot's warehouse. All lines or none.

    Raises NotEnough when the warehouse does not hold what is told.
    """
    _require(run, lines, extra)

    def do(doing: Doing) -> None:
        if doing.run.ended_at is not None and doing.at > doing.run.ended_at:
            raise RunEnded(doing.run)
        stored = {
            line.pk: line
            for line in LoadLine.objects.select_related("product", "substitute").filter(
                pk__in=[one.line.pk for one in lines]
            )
        }
        wanted: dict[Product, int] = {}
        for one in lines:
            _note(doing, stored[one.line.pk], one, wanted)
        for more in extra:
            wanted[more.product] = wanted.get(more.product, 0) + more.quantity
        _move(doing, wanted)
        if doing.run.state in {Run.State.PLANNED, Run.State.LOCKED}:
            doing.run.state = Run.State.LOADING
            doing.run.save(update_fields=["state", "updated_at"])
        doing.more["load"] = [
            {
                "line": line.pk,
                "product": line.product_id,
                "wanted": line.wanted,
                "picked": line.picked,
                "substitute": line.substitute_id,
                "substituted": line.substituted,
                "short": line.short,
            }
            for line in stored.values()
        ]

    return once(
        verb=RoadAct.Verb.PICK,
        run=run,
        stop=None,
        sent=sent,
        said={
            "lines": [
                [
                    one.line.pk,
                    one.picked,
                    one.substitute and one.substitute.pk,
                    one.substituted,
                ]
                for one in lines
            ],
            "extra": [[one.product.pk, one.quantity] for one in extra],
        },
        actor=actor,
        now=now,
        do=do,
    )


def _note(doing: Doing, line: LoadLine, told: Picked, wanted: dict[Product, int]) -> None:
    if line.picked_at is not None and doing.at < line.picked_at:
        doing.flag("superseded", f"{line}: told otherwise later")
        return
    changes: list[tuple[Product, int]] = [(line.product, told.picked - (line.picked or 0))]
    if line.substitute is not None:
        changes.append((line.substitute, -line.substituted))
    if told.substitute is not None:
        changes.append((told.substitute, told.substituted))
    for product, units in changes:
        wanted[product] = wanted.get(product, 0) + units
    line.picked = told.picked
    line.substitute, line.substituted = told.substitute, told.substituted
    line.picked_at, line.picked_by = doing.at, doing.actor
    line.save(update_fields=["picked", "substitute", "substituted", "picked_at", "picked_by"])


def _move(doing: Doing, wanted: Mapping[Product, int]) -> None:
    truck = doing.run.vehicle.truck
    warehouse = places.warehouse(doing.run.depot.site)
    loaded = [Item(product, units) for product, units in wanted.items() if units > 0]
    brought_back = [Item(product, -units) for product, units in wanted.items() if units < 0]
    for verb, items in ((moves.load, loaded), (moves.unload, brought_back)):
        if items:
            doing.movements.append(
                verb(
                    warehouse=warehouse,
                    truck=truck,
                    items=items,
                    actor=doing.actor,
                    happened_at=doing.booked_at,
                    now=doing.now,
                )
            )


def _require(run: Run, lines: Sequence[Picked], extra: Sequence[Extra]) -> None:
    wrong: dict[str, str] = {}
    seen: set[int] = set()
    for index, one in enumerate(lines):
        at = f"lines.{index}"
        if one.line.run_id != run.pk:
            wrong[f"{at}.line"] = f"line {one.line.pk} is of another run"
        if one.line.pk in seen:
            wrong[f"{at}.line"] = f"line {one.line.pk} stands twice"
        seen.add(one.line.pk)
        if one.picked < 0:
            wrong[f"{at}.picked"] = "a count is not below zero"
        if (one.substitute is None) != (one.substituted == 0) or one.substituted < 0:
            wrong[f"{at}.substituted"] = "say what was taken in its place, and how many"
        elif one.substitute is not None and one.substitute.pk == one.line.product_id:
            wrong[f"{at}.substitute"] = "a product is no substitute for itself"
    for index, more in enumerate(extra):
        if more.quantity < 1:
            wrong[f"extra.{index}.quantity"] = "give at least one unit"
    if not lines and not extra:
        wrong["lines"] = "nothing is said to have been picked"
    if wrong:
        raise Unacceptable("; ".join(f"{k}: {v}" for k, v in wrong.items()), fields=wrong)
