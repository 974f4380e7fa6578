"""Who sees which reads, and what was sold over periods."""

from datetime import timedelta
from zoneinfo import ZoneInfo

import pytest

from fleet.machines.models import Machine
from fleet.sales.models import AuditRead, MachineInterval
from fleet.sales.queries import gates
from fleet.sales.queries.reads import in_their_places, reads_of, report_of, tray
from fleet.sales.queries.sold import (
    intervals_awaiting_decision,
    intervals_of,
    lines_of,
    totals_by_period,
)
from people.errors import NotAllowed, NotFound
from tests.cast import Cast
from tests.fleet.sales.helpers import arrived, day, take, told
from tests.fleet.sales.meter import Meter
from tests.world import World

NEW_YORK = ZoneInfo("America/New_York")


@pytest.fixture
def week(lobby: Machine) -> Meter:
    """Reads on eight mornings; each day one more vend of column 1, and two of column 2."""
    meter = Meter.with_buttons("1", "2")
    for n in range(8):
        take(meter.sell("1", cash=n).sell("2", cashless=2), day(n))
    return meter


@pytest.mark.parametrize(
    ("who", "sees_machine_read", "sees_tray_read", "decides"),
    [
        ("owner", True, True, True),
        ("dispatcher", True, True, True),
        ("driver", True, False, False),
        ("accountant", True, True, False),
        ("no_role", False, False, False),
    ],
)
def test_who_sees_and_who_decides(
    lobby: Machine,
    cast: Cast,
    who: str,
    sees_machine_read: bool,
    sees_tray_read: bool,
    decides: bool,
) -> None:
    person = cast.by_name()[who]
    known = take(Meter.with_buttons("1"), day(0)).read_id
    stray = take(Meter.with_buttons("1", asset="NO-SUCH"), day(0)).read_id
    for pk, sees in ((known, sees_machine_read), (stray, sees_tray_read), (0, False)):
        if not sees:
            with pytest.raises(NotFound, match=f"no audit read {pk}"):
                gates.read_for(person, pk)
            with pytest.raises(NotFound):
                gates.read_for(person, pk, write=True)
            continue
        assert gates.read_for(person, pk).pk == pk
        if decides:
            assert gates.read_for(person, pk, write=True).pk == pk
        else:
            with pytest.raises(NotAllowed):
                gates.read_for(person, pk, write=True)
    assert tray(person).count() == int(sees_tray_read)
    assert reads_of(lobby, person).count() == int(sees_machine_read)


def test_intervals_and_lines_of_a_time(lobby: Machine, week: Meter, world: World) -> None:
    since, until = arrived(day(2)), arrived(day(4))
    assert [row.paid_units for row in intervals_of(lobby, since=since, until=until)] == [7, 6, 5]
    column = world.column(lobby, "1")
    assert [row.paid_units for row in lines_of(column, since=since)] == [7, 6, 5, 4, 3]
    assert not intervals_awaiting_decision().exists()
    assert [read.place for read in in_their_places(lobby, world.owner)][:2] == [8, 7]


def test_intervals_come_with_their_lines_in_a_fixed_number_of_queries(
    lobby: Machine, week: Meter, django_assert_num_queries: object
) -> None:
    with django_assert_num_queries(2):  # type: ignore[operator]
        for interval in intervals_of(lobby):
            for line in interval.lines.all():
                assert str(line.column.position.label) or line.set_up.product


def test_totals_by_week_and_column(lobby: Machine, week: Meter) -> None:
    totals = totals_by_period(period="week", by="column", zone=NEW_YORK)
    said = [(total.label, total.intervals, total.figures["paid_units"]) for total in totals]
    # The first interval ends on a Tuesday; the last on the Monday after.
    assert said == [("1", 6, 21), ("2", 6, 12), ("1", 1, 7), ("2", 1, 2)]
    assert totals[0].figures["cash_minor"] == 21 * 175
    assert {(total.currency, total.exponent, total.incomplete) for total in totals} == {
        ("USD", 2, 0)
    }


def test_totals_by_product_and_machine_agree(lobby: Machine, week: Meter) -> None:
    (machine,) = totals_by_period(period="month", by="machine", zone=NEW_YORK)
    products = totals_by_period(period="month", by="product", zone=NEW_YORK)
    assert machine.label == "LOB-1"
    assert {total.label: total.figures["paid_units"] for total in products} == {
        "Cola": 28,
        "Tea": 14,
    }
    assert machine.figures["paid_units"] == 42
    none = totals_by_period(period="day", by="machine", zone=NEW_YORK, machines=[])
    assert none == []


def test_a_day_is_the_zones_day(lobby: Machine) -> None:
    """A read at one in the morning in New York still falls on the day before in Chicago."""
    meter = Meter.with_buttons("1", "2")
    take(meter, day(0))
    take(meter.sell("1", cash=1), day(1).replace(hour=0, minute=30))
    (there,) = totals_by_period(period="day", by="machine", zone=NEW_YORK)
    (west,) = totals_by_period(period="day", by="machine", zone=ZoneInfo("America/Chicago"))
    assert (there.starts.day, west.starts.day) == (3, 2)


def test_totals_count_what_is_held_back(lobby: Machine) -> None:
    meter = Meter.with_buttons("1", "2")
    take(meter.sell("1", cash=9), day(0))
    take(meter.new_board("ZZZ9002").sell("1", cash=6), day(1))
    (total,) = totals_by_period(
        period="month", by="machine", zone=NEW_YORK, since=told(lobby)[0].ends_at
    )
    assert (total.intervals, total.incomplete, total.figures["paid_units"]) == (1, 1, None)
    until = MachineInterval.objects.get().ends_at
    assert totals_by_period(period="day", by="machine", zone=NEW_YORK, until=until) == []
    assert until - told(lobby)[0].starts_at == timedelta(days=1)


def test_a_report_is_read_again_from_its_bytes(lobby: Machine, cast: Cast) -> None:
    pk = take(Meter.with_buttons("1"), day(0)).read_id
    report = report_of(gates.read_for(cast.driver, pk or 0))
    assert report.sha256 == AuditRead.objects.get().sha256
