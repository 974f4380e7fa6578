"""What a driver reads of a column: the night's estimate, until somebody was there."""

from typing import Any

import pytest

from fleet.demand.models import ColumnNeed, FitRun
from service.runs.actions import road
from service.runs.queries import day
from tests.service.runs.roadwork import DAY, RoadWork, clock

pytestmark = pytest.mark.django_db


def need(work: RoadWork, label: str, expected: float, fill_to: int) -> ColumnNeed:
    """The night's word on a column of the first machine."""
    column = work.world.column(work.machines[0], label)
    setting = column.set_ups.get(ends_at__isnull=True)
    return ColumnNeed.objects.create(
        column=column,
        product=setting.product,
        run=FitRun.objects.create(day=DAY, started_at=clock(2)),
        day=DAY,
        worked_out_at=clock(2),
        stock_expected=expected,
        stock_low=max(0, expected - 3),
        stock_high=expected + 3,
        stock_basis="model",
        capacity=setting.capacity,
        chance_dry_by_day=[0.5],
        units_lost_by_day=[0],
        margin_lost_by_day=[0],
        fill_to=fill_to,
        par=fill_to,
        fill_expected=fill_to - expected,
    )


def shown(work: RoadWork, stop: Any) -> tuple[int | None, bool]:
    columns = day.stop_sheet(stop, now=clock(18, 45))["columns"]
    one = columns[0]
    of_run = day.sheet(stop.run, now=clock(18, 45))["stops"][0]["columns"][0]
    assert of_run == one
    return one["expected"], one["told_since"]


def test_a_count_and_a_fill_replace_the_nights_estimate(work: RoadWork) -> None:
    stop = work.stop(work.out())
    work.stock(work.cola, 30)
    need(work, "1", 3.4, 15)
    assert shown(work, stop) == (3, False)
    lines = [road.Counted(work.world.column(work.machines[0], "1"), 7)]
    work.do(road.count, clock(8, 2), stop=stop, lines=lines)
    assert shown(work, stop) == (7, True)
    work.do(road.fill, clock(8, 5), stop=stop, lines=[work.filled("1", work.cola, 12)])
    assert shown(work, stop) == (19, True)


def test_a_need_worked_out_after_the_visit_stands(work: RoadWork) -> None:
    stop = work.stop(work.out())
    lines = [road.Counted(work.world.column(work.machines[0], "1"), 7)]
    work.do(road.count, clock(8, 2), stop=stop, lines=lines)
    assert shown(work, stop) == (7, True)
    night = need(work, "1", 5, 15)
    ColumnNeed.objects.filter(pk=night.pk).update(worked_out_at=clock(18, 30))
    assert shown(work, stop) == (5, False)
