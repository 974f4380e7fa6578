"""Whatever people do, in whatever order it arrives and wherever it breaks off: no unit is made or
lost, levels are what the ledger adds up to, and what was counted stands."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import pytest
from django.db import connection, transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fleet.inventory.actions import counts, ledger, moves, places
from fleet.inventory.actions.moves import Item
from fleet.inventory.models import (
    CountLine,
    Lot,
    Movement,
    MovementLine,
    StockCount,
    StockLevel,
    StockPlace,
)
from people.errors import Unable
from people.models import AuditEntry
from tests.cast import NOW
from tests.fleet.inventory.stores import Stores, at, found_then, require_books_balance

pytestmark = pytest.mark.django_db

VERBS = (
    "receive",
    "load",
    "unload",
    "swap",
    "fill",
    "pull",
    "remove",
    "waste",
    "count",
    "count truck",
    "count lots",
    "count all",
    "correct",
)


@dataclass(frozen=True)
class Act:
    """Something somebody does at an hour of the story: the verb, how many, and of which lot."""

    verb: str
    quantity: int
    hour: int
    lot: str


acts = st.builds(
    Act,
    st.sampled_from(VERBS),
    st.integers(1, 12),
    st.integers(0, 200),
    st.sampled_from(["OLD", "NEW", "none", "any"]),
)
stories = st.lists(acts, min_size=1, max_size=14, unique_by=lambda act: act.hour)
ours = settings(
    max_examples=15,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)


class Broken(Exception):
    """Stands for a power cut."""


def do(stores: Stores, act: Act) -> None:
    """What the act says; what the business refuses changes nothing."""
    lots: dict[str, Any] = {
        "OLD": stores.old,
        "NEW": stores.new,
        "none": None,
        "any": moves.ANY,
    }
    named: Lot | None = {"OLD": stores.old, "NEW": stores.new}.get(act.lot)
    when = {"happened_at": at(act.hour), "actor": stores.actor, "now": NOW}
    items = [Item(stores.cola, act.quantity, lots[act.lot])]
    match act.verb:
        case "receive":
            stores.receive(act.quantity * 3, named, act.hour)
        case "load":
            moves.load(warehouse=stores.depot, truck=stores.truck, items=items, **when)  # type: ignore[arg-type]
        case "unload":
            moves.unload(warehouse=stores.depot, truck=stores.truck, items=items, **when)  # type: ignore[arg-type]
        case "swap":
            moves.transfer(
                from_place=stores.truck,
                to_place=stores.other_truck,
                items=items,
                **when,  # type: ignore[arg-type]
            )
        case "fill":
            stores.fill(act.quantity, act.hour, lot=lots[act.lot])
        case "pull":
            stores.remove(act.quantity, act.hour)
        case "remove":
            moves.remove_from_columns(
                removals=[moves.InColumn(stores.one, stores.cola, act.quantity, lots[act.lot])],
                to_place=stores.other_truck,
                **when,  # type: ignore[arg-type]
            )
        case "waste":
            stores.remove(act.quantity, act.hour, to_place=None, waste_reason="damaged")
        case "count":
            stores.count(act.quantity, act.hour)
        case "count truck":
            stores.count_truck({(stores.cola, None): act.quantity}, act.hour)
        case "count lots":
            stores.count_truck({(stores.cola, stores.old): act.quantity}, act.hour)
        case "count all":
            counts.count_place(
                place=stores.depot,
                counted={(stores.tea, None): 1, (stores.cola, None): act.quantity},
                counted_at=at(act.hour),
                actor=stores.actor,
                now=NOW,
                whole=True,
            )
        case "correct":
            latest = Movement.objects.exclude(reason__in=["count", "correction"]).first()
            if latest is not None:
                ledger.correct(movement=latest, actor=stores.actor, now=NOW, note="by mistake")


def try_to(stores: Stores, act: Act) -> bool:
    try:
        with transaction.atomic():
            do(stores, act)
    except Unable:
        return False
    return True


def require_units_conserved() -> None:
    """What is held is what came in from outside less what went out, product by product."""
    held: dict[int, int] = {}
    for product, quantity in StockLevel.objects.order_by().values_list("product", "quantity"):
        held[product] = held.get(product, 0) + quantity
    came: dict[int, int] = {}
    for line in MovementLine.objects.select_related("from_place", "to_place"):
        by = (not line.from_place.is_held) - (not line.to_place.is_held)
        came[line.product_id] = came.get(line.product_id, 0) + by * line.quantity
    assert {k: n for k, n in held.items() if n} == {k: n for k, n in came.items() if n}


def require_counts_stand() -> None:
    for count in StockCount.objects.prefetch_related("lines__product"):
        then = found_then(count)
        told: dict[str, int] = {}
        for line in count.lines.all():
            told[line.product.name] = told.get(line.product.name, 0) + line.counted
        for name, counted in told.items():
            assert then.get(name, 0) == counted, (count, name)


def everything() -> list[list[tuple[Any, ...]]]:
    """All that is written of stock, to tell whether anything was."""
    tables: tuple[Any, ...] = (Movement, MovementLine, StockLevel, StockCount, CountLine)
    return [list(model.objects.order_by("pk").values_list()) for model in tables] + [
        list(AuditEntry.objects.order_by("pk").values_list("pk"))
    ]


@contextmanager
def undone() -> Iterator[None]:
    """One example of many in the transaction of one test."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


@ours
@given(stories)
def test_units_are_conserved_and_levels_are_the_ledger(stores: Stores, story: list[Act]) -> None:
    with undone():
        for act in story:
            before = everything()
            if not try_to(stores, act):
                assert everything() == before
            require_books_balance()
            require_units_conserved()
        require_counts_stand()


@ours
@given(stories, st.integers(0, 40))
def test_wherever_it_breaks_off_nothing_is_half_done(
    stores: Stores, story: list[Act], statements: int
) -> None:
    with undone():
        for act in story[:-1]:
            try_to(stores, act)
        before = everything()
        left = statements

        def cut(execute: Callable[..., Any], *asked: Any) -> Any:
            nonlocal left
            # A savepoint that is taken back must get through, as it would without a server.
            if not asked[0].startswith(("SAVEPOINT", "RELEASE", "ROLLBACK")):
                left -= 1
                if left < 0:
                    raise Broken
            return execute(*asked)

        broken = False
        try:
            with transaction.atomic(), connection.execute_wrapper(cut):
                do(stores, story[-1])
        except Broken:
            broken = True
        except Unable:
            pass
        if broken:
            # A place that was made on demand went with what needed it.
            assert everything() == before
        require_books_balance()
        require_units_conserved()


COLUMN_VERBS = ("fill", "pull", "waste", "count", "count truck")
told = st.lists(
    st.builds(
        Act,
        st.sampled_from(COLUMN_VERBS),
        st.integers(1, 12),
        st.integers(1, 200),
        st.just("any"),
    ),
    min_size=1,
    max_size=8,
    unique_by=lambda act: act.hour,
)


@ours
@given(told, st.randoms(use_true_random=False))
def test_the_order_in_which_records_arrive_changes_nothing(
    stores: Stores, story: list[Act], chance: Any
) -> None:
    """By hand: what was counted last, and what was put in and taken out since."""
    with undone():
        lines = [
            ledger.Line(stores.cola, 1000, places.the("unexplained"), stores.truck, stores.new)
        ]
        ledger.post(reason="opening", lines=lines, actor=None, happened_at=at(0), now=NOW)
        shuffled = list(story)
        chance.shuffle(shuffled)
        taken = [act for act in shuffled if try_to(stores, act)]
        column, truck = 0, 1000
        for act in sorted(taken, key=lambda act: act.hour):
            match act.verb:
                case "fill":
                    column, truck = column + act.quantity, truck - act.quantity
                case "pull":
                    column, truck = column - act.quantity, truck + act.quantity
                case "waste":
                    column -= act.quantity
                case "count":
                    column = act.quantity
                case "count truck":
                    truck = act.quantity
        place: StockPlace = places.column_place(stores.one)
        assert (stores.total(place), stores.total(stores.truck)) == (column, truck)
        require_counts_stand()
        require_books_balance()
