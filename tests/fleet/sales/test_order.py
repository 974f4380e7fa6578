"""Reads in whatever order they come: the same places, the same intervals."""

import random
from datetime import timedelta
from itertools import permutations

import pytest

from fleet.machines.models import Machine
from fleet.sales.models import AuditRead, MachineInterval, SaleInterval
from fleet.sales.models.intervals import SOLD
from fleet.sales.outcome import Result
from tests.fleet.sales.helpers import arrived, day, faults, hand_in, sold, take, told
from tests.fleet.sales.meter import Meter


@pytest.fixture
def meter() -> Meter:
    return Meter.with_buttons("1", "2")


def _said(machine: Machine) -> list[tuple[object, ...]]:
    """All that the intervals of a machine say, without keys."""
    rows: list[tuple[object, ...]] = []
    for interval in told(machine):
        rows.append((interval.from_read.name, interval.to_read.name, interval.quality))
        rows.append((interval.starts_at, interval.ends_at, interval.sum_agrees))
        rows += [
            (line.selection_code, line.column_id, *(getattr(line, name) for name in SOLD))
            for line in interval.lines.order_by("selection_code", "column")
        ]
    return rows


def test_a_late_read_cuts_its_interval_in_two(lobby: Machine, meter: Meter) -> None:
    take(meter, day(0))
    late = meter.sell("1", cash=2).read(day(1))
    take(meter.sell("1", cash=5), day(2))
    take(meter.sell("2", cash=1), day(3))
    before = told(lobby)
    assert [sold(interval)["1"] for interval in before] == [7, 0]
    (outcome,) = hand_in(late, at=arrived(day(4)))
    after = told(lobby)
    assert [sold(interval)["1"] for interval in after] == [2, 5, 0]
    assert outcome.interval_ids == (after[0].pk, after[1].pk)
    # What it does not touch stays as it was, keys and all.
    assert after[2].pk == before[1].pk
    read = AuditRead.objects.get(pk=outcome.read_id)
    assert (read.place, read.is_late, read.clock_state) == (2, True, "received_late")
    assert read.drift_s is None
    assert list(AuditRead.objects.order_by("place").values_list("place", flat=True)) == [1, 2, 3, 4]


def test_a_read_before_all_others_goes_first(lobby: Machine, meter: Meter) -> None:
    early = meter.sell("1", cash=4).read(day(0))
    take(meter.sell("1", cash=3), day(1))
    hand_in(early, at=arrived(day(2)))
    assert [sold(interval) for interval in told(lobby)] == [{"1": 3, "2": 0}]


@pytest.mark.parametrize("order", list(permutations(range(4))))
def test_any_order_of_arrival_gives_the_same_sales(
    lobby: Machine, meter: Meter, order: tuple[int, ...]
) -> None:
    datas = [
        meter.sell("1", cash=n + 1, cashless=n).sell("2", free=n).read(day(n)) for n in range(4)
    ]
    for step, index in enumerate(order):
        (outcome,) = hand_in(
            datas[index], at=arrived(day(4), timedelta(hours=step)), name=f"{index}"
        )
        assert outcome.result is Result.ACCEPTED
        assert not faults(told(lobby))
    assert [sold(interval)["1"] for interval in told(lobby)] == [3, 5, 7]
    assert MachineInterval.objects.count() == 3


def test_one_by_one_is_as_all_at_once(lobby: Machine, meter: Meter) -> None:
    """Appending to the last read must place every read as lining all of them up does."""
    luck = random.Random(7)
    clock, sent = day(0), []
    for n in range(24):
        clock += timedelta(hours=luck.choice((1, 6, 24, 30)))
        if n == 11:
            meter.new_board("ZZZ9002")
        meter.sell("1", cash=luck.randrange(5)).sell("2", cashless=luck.randrange(3))
        shown = clock + luck.choice((timedelta(0), timedelta(minutes=20), timedelta(days=-400)))
        late = luck.choice((timedelta(minutes=1), timedelta(hours=20), timedelta(days=3)))
        sent.append((arrived(clock, late), meter.read(shown), f"{n:02}"))
    sent.sort()
    for at, data, name in sent:
        hand_in(data, at=at, name=name)
    one_by_one = _said(lobby)
    places = list(AuditRead.objects.order_by("place").values_list("name", "epoch", "placed_by"))
    _forget_all()
    from fleet.sales.actions.receive import ReceivedFile, receive

    receive(
        files=[ReceivedFile(name, data, at) for at, data, name in sent],
        source="api",
        actor=None,
        now=sent[-1][0],
    )
    assert places == list(
        AuditRead.objects.order_by("place").values_list("name", "epoch", "placed_by")
    )
    assert one_by_one == _said(lobby)


def _forget_all() -> None:
    from fleet.sales.models import EventOccurrence, MachineEvent

    MachineEvent.objects.all().delete()
    EventOccurrence.objects.all().delete()
    SaleInterval.objects.all().delete()
    MachineInterval.objects.all().delete()
    AuditRead.objects.all().delete()
