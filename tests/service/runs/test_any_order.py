"""Acts in any order, some twice, some refused until what they need came: one day in the end."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fleet.inventory.models import StockLevel
from fleet.inventory.queries.check import check_stock
from people.errors import Unable
from service.runs.actions import road
from service.runs.models import Run, Stop, Visit
from tests.service.runs.roadwork import RoadWork, clock

pytestmark = pytest.mark.django_db


@dataclass(frozen=True)
class Told:
    """An act as a device keeps it until it has a signal."""

    key: str
    verb: Callable[..., road.Answer]
    at: datetime
    given: dict[str, Any]


def day_of(work: RoadWork, run: Run) -> list[Told]:
    """A day at two machines, in the order in which it happened."""
    first, second = work.stop(run), work.stop(run, work.machines[1])
    one, two = work.world.column(work.machines[0], "1"), work.world.column(work.machines[1], "1")
    told = [
        (road.pick, clock(7), {"run": run, "lines": [], "extra": [road.Extra(work.cola, 30)]}),
        (road.start, clock(7, 20), {"run": run}),
        (road.arrive, clock(8), {"stop": first}),
        (road.count, clock(8, 1), {"stop": first, "lines": [road.Counted(one, 6)]}),
        (
            road.remove,
            clock(8, 2),
            {"stop": first, "lines": [road.Removed(one, work.cola, 2, "out_of_date")]},
        ),
        (
            road.fill,
            clock(8, 3),
            {"stop": first, "lines": [road.Filled(one, work.cola, 12)]},
        ),
        (road.bag, clock(8, 4), {"stop": first, "seal_number": "S-1"}),
        (road.leave, clock(8, 9), {"stop": first}),
        (road.skip, clock(8, 30), {"stop": second, "reason": "no way in"}),
        (road.arrive, clock(9), {"stop": second}),
        (
            road.fill,
            clock(9, 2),
            {"stop": second, "lines": [road.Filled(two, work.cola, 11)]},
        ),
        (road.count, clock(9, 2), {"stop": second, "lines": [road.Counted(two, 3)]}),
        (road.leave, clock(9, 6), {"stop": second}),
        (road.end_day, clock(15), {"run": run, "truck": [road.OnTruck(work.cola, 6)]}),
    ]
    return [Told(f"k{n}", verb, at, more) for n, (verb, at, more) in enumerate(told)]


def send(work: RoadWork, told: Told) -> bool:
    """Whether it was taken. What is refused changes nothing."""
    before = levels()
    try:
        with transaction.atomic():
            told.verb(
                **told.given,
                sent=road.Sent(told.key, told.at),
                actor=work.driver,
                now=clock(18),
            )
    except Unable:
        assert levels() == before
        return False
    return True


def replay(work: RoadWork, queue: list[Told]) -> None:
    """A device sends its queue again and again until all of it is taken."""
    waiting = queue
    for _ in queue:
        waiting = [told for told in waiting if not send(work, told)]
    assert not waiting, [told.verb.__name__ for told in waiting]


def levels() -> dict[tuple[str, str], int]:
    found: dict[tuple[str, str], int] = {}
    for place, product, units in StockLevel.objects.values_list(
        "place__name", "product__name", "quantity"
    ):
        found[(place, product)] = found.get((place, product), 0) + units
    return {key: units for key, units in found.items() if units}


def outcome(run: Run) -> object:
    visits = Visit.objects.filter(run=run).order_by("stop")
    return (
        levels(),
        list(visits.values_list("stop", "arrived_at", "left_at")),
        list(Stop.objects.filter(run=run).order_by("pk").values_list("state", "skipped_because")),
        list(Run.objects.filter(pk=run.pk).values_list("state", "started_at", "ended_at")),
    )


@settings(max_examples=12, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_any_order_ends_in_the_same_stock(data: st.DataObject, work: RoadWork) -> None:
    with transaction.atomic():
        work.stock(work.cola, 30, work.warehouse)
        run = work.run(*work.machines[:2])
        queue = day_of(work, run)
        with transaction.atomic():
            replay(work, queue)
            wanted = outcome(run)
            transaction.set_rollback(True)
        order = data.draw(st.permutations(queue))
        twice = data.draw(st.lists(st.sampled_from(queue), max_size=4))
        replay(work, [*order, *twice])
        assert outcome(run) == wanted
        assert not check_stock().faults
        transaction.set_rollback(True)


def test_the_day_in_its_own_order(work: RoadWork) -> None:
    """The figures that every order has to end in."""
    work.stock(work.cola, 30, work.warehouse)
    run = work.run(*work.machines[:2])
    replay(work, day_of(work, run))
    found = levels()
    assert found[("Van 1", "Cola")] == 6
    assert found[("R-1 column 1", "Cola")] == 6 - 2 + 12
    assert found[("R-2 column 1", "Cola")] == 3 + 11
    # 30 were loaded, 23 went into columns, so one of the 7 left was missing.
    assert not check_stock().faults
