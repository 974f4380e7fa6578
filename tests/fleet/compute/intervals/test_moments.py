"""Reads that came long after they were taken, and clocks that are wrong: told apart."""

from datetime import UTC, datetime, timedelta

import pytest

from fleet.compute.intervals.drift import ClockState, KnownBy
from fleet.compute.intervals.figures import total_counters
from fleet.compute.intervals.moments import moments_of
from fleet.compute.intervals.order import places
from fleet.compute.intervals.snapshot import Snapshot

NOW = datetime(2026, 3, 16, 12, 0, tzinfo=UTC)
DAY = timedelta(days=1)


def read(number: int, *, clock: datetime, received: datetime) -> Snapshot:
    return Snapshot(
        key=f"r{number:03}",
        received_at=received,
        machine_clock=clock.replace(tzinfo=None),
        reads_counter=100 + number,
        board_serial="B1",
        totals=total_counters(paid_count=1000 + number, paid_value_minor=100_000 + number),
    )


def taken(*reads: Snapshot) -> list[datetime]:
    return [moment.at for moment in moments_of(places(reads, UTC), UTC)]


@pytest.mark.parametrize("age", [timedelta(0), timedelta(days=30)])
def test_an_archive_handed_in_at_once_keeps_its_own_times(age: timedelta) -> None:
    clocks = [NOW - age - DAY * days for days in (12, 8, 5, 1)]
    reads = [
        read(n, clock=clock, received=NOW + timedelta(seconds=n)) for n, clock in enumerate(clocks)
    ]
    assert taken(*reads) == clocks


def test_and_says_that_it_is_delay() -> None:
    reads = [read(n, clock=NOW - DAY * days, received=NOW) for n, days in enumerate((6, 0))]
    first, last = moments_of(places(reads, UTC), UTC)
    assert first.drift.state is ClockState.RECEIVED_LATE
    assert first.drift.drift_s is None
    assert last.drift.state is ClockState.GOOD


def test_a_clock_that_is_ten_days_behind_every_night_is_wrong() -> None:
    nights = [NOW + DAY * night for night in range(4)]
    reads = [read(n, clock=at - 10 * DAY, received=at) for n, at in enumerate(nights)]
    assert taken(*reads) == nights


def test_and_stays_wrong_when_it_is_set_right_at_last() -> None:
    nights = [NOW + DAY * night for night in range(4)]
    reads = [
        read(n, clock=at - (10 * DAY if n < 3 else timedelta(0)), received=at)
        for n, at in enumerate(nights)
    ]
    assert taken(*reads) == nights


def test_a_clock_lost_to_another_decade_is_not_delay() -> None:
    reads = [
        read(0, clock=datetime(2010, 1, 5, tzinfo=UTC), received=NOW - DAY),
        read(1, clock=NOW, received=NOW),
    ]
    moments = moments_of(places(reads, UTC), UTC)
    assert moments[0].known_by is KnownBy.RECEIVED
    assert moments[0].drift.state is ClockState.DISTRUSTED


def test_one_file_alone_says_nothing_about_delay() -> None:
    assert taken(read(0, clock=NOW - 6 * DAY, received=NOW)) == [NOW]
