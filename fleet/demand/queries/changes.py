"""What would change if a machine were set up otherwise, and which changes are worth their work."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Final

from fleet.compute.restock.arrangements import EMPTY, Arrangement
from fleet.compute.restock.swap import Comparison, suggest
from fleet.compute.restock.swap import what_if as compare
from fleet.compute.results import Fit, Reason
from fleet.machines.actions.changeovers import why_not
from fleet.machines.actions.setups import capacity_of
from fleet.machines.models import Column, Machine, Product
from people.errors import Unacceptable

from ..arranging import FITTING, Arranged, arranged

SOLVE_S: Final = 5.0


@dataclass(frozen=True)
class Ask:
    """What if this column held this product? None: nothing. `deep` None: as deep as computed."""

    column: Column
    product: Product | None
    deep: int | None = None


@dataclass(frozen=True)
class Change:
    """One column before and after, with the fit of what would come into it.

    `gain_minor` is what the whole would lose a week without this change; None where it cannot be
    left out by itself, or the change was asked for and not suggested.
    """

    column: Column
    before: Product | None
    after: Product | None
    units_before: int
    units_after: int
    minutes: float
    fit: Fit | None
    gain_minor: float | None = None
    deep: int | None = None


@dataclass(frozen=True)
class ProductSide:
    """A product's week before and after: columns, room, asked for, sold, margin in minor units."""

    product: Product
    columns: tuple[int, int]
    capacity: tuple[int, int]
    asked: tuple[float, float]
    sold: tuple[float, float]
    worth_minor: tuple[float, float]
    from_pool: bool


@dataclass(frozen=True)
class Changes:
    """The answer: the columns that change, each product's week, the gain and how sure it is."""

    machine: Machine
    changes: tuple[Change, ...]
    products: tuple[ProductSide, ...]
    comparison: Comparison
    gap_days: int
    cautions: tuple[Reason, ...] = field(default=())
    proven: bool = False


def what_if(*, machine: Machine, asks: Sequence[Ask], now: datetime) -> Changes:
    """What a week would be if the columns asked about held what is asked.

    Another product, a product in two columns instead of one, another depth: all are asks, and all
    asked in one go hold together. Raises Unacceptable, by field, for a column asked about twice
    or of another machine, and for what does not physically fit, with the reason.
    """
    if not asks:
        raise Unacceptable("ask about one column at least", fields={"asks": "name a column"})
    besides = [ask.product for ask in asks if ask.product is not None]
    whole = arranged(machine, now=now, besides=besides)
    after = whole.cabinet.now
    places = {column.pk: place for place, column in enumerate(whole.columns)}
    seen: set[int] = set()
    deep: dict[int, int | None] = {}
    cabinet = whole.cabinet
    for index, ask in enumerate(asks):
        at = f"asks.{index}"
        if ask.column.pk not in places:
            message = f"{ask.column} is not a column of {machine}"
            raise Unacceptable(message, fields={f"{at}.column": message})
        if ask.column.pk in seen:
            message = f"{ask.column} is asked about twice"
            raise Unacceptable(message, fields={f"{at}.column": message})
        seen.add(ask.column.pk)
        place = places[ask.column.pk]
        deep[ask.column.pk] = ask.deep
        if ask.product is None:
            after = after.changed(place, EMPTY, 0)
            continue
        units = _units(whole, place, ask, at)
        # The computation knows one depth of each pair; the one asked for stands in its stead.
        cabinet.capacity[place, whole.place_of(ask.product)] = units
        after = after.changed(place, whole.place_of(ask.product), units)
    found = compare(cabinet, after)
    return _told(whole, after, found, deep=deep)


def suggested(*, machine: Machine, now: datetime, seconds: float = SOLVE_S) -> Changes:
    """The changes of a machine that gain most together, their work counted against them.

    Only what physically fits is suggested, for columns that no changeover is open on; none at all
    where nothing gains. Solved as an assignment over columns and products, see `swap.suggest`.
    """
    whole = arranged(machine, now=now)
    found = suggest(whole.cabinet, seconds=seconds)
    gains = {one.column: one.gain_minor for one in found.changes}
    return _told(whole, found.arrangement, found.comparison, gains=gains, proven=found.proven)


def _units(whole: Arranged, place: int, ask: Ask, at: str) -> int:
    column, product = whole.columns[place], ask.product
    assert product is not None  # noqa: S101 - for the type checker; the caller asks about a product
    answer = whole.fit(column, product)
    if answer is None:
        message = f"{product}: the sizes of its package contradict each other"
        raise Unacceptable(message, code="bad_measure", fields={f"{at}.product": message})
    if answer.verdict not in FITTING:
        message = f"{product} in {column}: {why_not(answer)}"
        raise Unacceptable(message, code=answer.verdict.value, fields={f"{at}.product": message})
    if ask.deep is None or ask.deep == answer.deep:
        return answer.capacity.units if answer.capacity else 0
    greatest = column.position.greatest_deep
    if not 1 <= ask.deep <= greatest:
        message = f"position {column.position.label} takes 1 to {greatest} deep"
        raise Unacceptable(message, fields={f"{at}.deep": message})
    if answer.deep is not None and ask.deep > answer.deep:
        message = f"{product} lies {answer.deep} deep at most in {column}"
        raise Unacceptable(message, fields={f"{at}.deep": message})
    return capacity_of(column.position, product, ask.deep)


def _told(
    whole: Arranged,
    after: Arrangement,
    found: Comparison,
    *,
    gains: dict[int, float | None] | None = None,
    deep: dict[int, int | None] | None = None,
    proven: bool = False,
) -> Changes:
    now = whole.cabinet.now
    by_key = {product.pk: product for product in whole.products}
    minutes = whole.cabinet.minutes_between(now, after)
    changes = []
    for place, column in enumerate(whole.columns):
        before, then = int(now.product[place]), int(after.product[place])
        if before == then and now.units[place] == after.units[place]:
            continue
        product = None if then == EMPTY else whole.products[then]
        changes.append(
            Change(
                column=column,
                before=None if before == EMPTY else whole.products[before],
                after=product,
                units_before=int(now.units[place]),
                units_after=int(after.units[place]),
                minutes=float(minutes[place]),
                fit=None if product is None else whole.fit(column, product),
                gain_minor=(gains or {}).get(column.pk),
                deep=(deep or {}).get(column.pk),
            )
        )
    changed = {change.before for change in changes} | {change.after for change in changes}
    sides = tuple(
        ProductSide(
            product=by_key[one.product],
            columns=(one.columns_before, one.columns_after),
            capacity=(one.capacity_before, one.capacity_after),
            asked=(one.asked_before, one.asked_after),
            sold=(one.sold_before, one.sold_after),
            worth_minor=(one.worth_before_minor, one.worth_after_minor),
            from_pool=one.product not in whole.own,
        )
        for one in found.products
        if by_key[one.product] in changed
    )
    return Changes(
        machine=whole.machine,
        changes=tuple(changes),
        products=sides,
        comparison=found,
        gap_days=whole.gap_days,
        cautions=_cautions(whole, sides),
        proven=proven,
    )


def _cautions(whole: Arranged, sides: Sequence[ProductSide]) -> tuple[Reason, ...]:
    found = []
    guessed = [side.product.name for side in sides if side.from_pool]
    if guessed:
        text = (
            f"{', '.join(guessed)}: never sold in this machine; taken from how it sells in like "
            "machines and how this machine sells, and so the less certain."
        )
        found.append(Reason("from_pool", text, {}))
    unknown = [side.product.name for side in sides if side.product.cost is None]
    if unknown:
        text = f"{', '.join(unknown)}: no cost is entered; half the price stands for the margin."
        found.append(Reason("cost_not_known", text, {}))
    text = (
        "Each product is taken to have buyers of its own: somebody who would take another instead "
        "is counted as lost, and a new product as taking nothing from its neighbours."
    )
    found.append(Reason("no_substitution", text, {}))
    if whole.busy:
        labels = ", ".join(c.position.label for c in whole.columns if c.pk in whole.busy)
        text = f"Columns with an open changeover are left as they are: {labels}."
        found.append(Reason("open_changeover", text, {}))
    if whole.left_aside:
        text = f"{whole.left_aside} products that fit are taken to earn less and were not weighed."
        found.append(Reason("not_weighed", text, {}))
    return tuple(found)
