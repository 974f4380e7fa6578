from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from fleet.compute.intervals.drift import (
    ClockState,
    KnownBy,
    drift_of,
    likely_error_s,
    moment_of,
)
from fleet.compute.intervals.snapshot import Snapshot

NEW_YORK = ZoneInfo("America/New_York")
RECEIVED = datetime(2026, 3, 16, 12, 0, tzinfo=UTC)  # 08:00 in New York, summer time


def read(behind: timedelta, **changes) -> Snapshot:
    clock = (RECEIVED - behind).astimezone(NEW_YORK).replace(tzinfo=None)
    return Snapshot(**{"key": "a", "received_at": RECEIVED, "machine_clock": clock, **changes})


# Limits of 15 minutes and 1 day: common practice, no published source.
@pytest.mark.parametrize(
    ("behind", "state", "known_by"),
    [
        (timedelta(0), ClockState.GOOD, KnownBy.MACHINE_CLOCK),
        (timedelta(minutes=15), ClockState.GOOD, KnownBy.MACHINE_CLOCK),
        (timedelta(minutes=16), ClockState.OFF, KnownBy.MACHINE_CLOCK),
        (timedelta(days=1), ClockState.OFF, KnownBy.MACHINE_CLOCK),
        (timedelta(days=1, minutes=1), ClockState.DISTRUSTED, KnownBy.RECEIVED),
        (timedelta(minutes=-5), ClockState.GOOD, KnownBy.RECEIVED),
        (timedelta(minutes=-16), ClockState.OFF, KnownBy.RECEIVED),
        (timedelta(days=-2), ClockState.DISTRUSTED, KnownBy.RECEIVED),
    ],
)
def test_drift_is_receipt_minus_clock_in_the_sites_zone(behind, state, known_by):
    drift = drift_of(read(behind), NEW_YORK)
    assert drift.state is state
    assert drift.drift_s == behind.total_seconds()
    moment = moment_of(read(behind), NEW_YORK)
    assert moment.known_by is known_by
    assert moment.at == RECEIVED - (behind if known_by is KnownBy.MACHINE_CLOCK else timedelta(0))


def test_delay_is_not_drift():
    late = read(timedelta(days=5))
    drift = drift_of(late, NEW_YORK, late=True)
    assert (drift.state, drift.drift_s) == (ClockState.RECEIVED_LATE, None)
    assert moment_of(late, NEW_YORK, late=True).at == RECEIVED - timedelta(days=5)


def test_no_clock():
    silent = read(timedelta(0), machine_clock=None)
    assert drift_of(silent, NEW_YORK).state is ClockState.NONE
    assert moment_of(silent, NEW_YORK).known_by is KnownBy.RECEIVED


def test_an_hour_may_be_summer_time():
    hour = timedelta(hours=1)
    off = read(hour, clock_follows_summer_time=False)
    assert "summer time" in drift_of(off, NEW_YORK).text
    on = read(hour, clock_follows_summer_time=True)
    assert "summer time" not in drift_of(on, NEW_YORK).text


def test_a_clock_behind_may_be_a_file_sent_on_later_and_one_ahead_may_not():
    hours = timedelta(hours=5)
    assert "sent on" in drift_of(read(hours), NEW_YORK).text
    assert "sent on" not in drift_of(read(-hours), NEW_YORK).text


def test_over_several_reads_the_least_difference_is_the_clocks_own():
    """A clock 200 s behind; files sent on after 5 s, 6 hours and 20 minutes."""
    assert likely_error_s([205, 21_800, 1400]) == 205
    assert likely_error_s([-300, 40]) == -300
    assert likely_error_s([]) is None


def test_the_hour_that_summer_time_gives_back_is_taken_for_its_first_run():
    """The clock shows 01:30 twice on 1 November 2026; UTC keeps the two an hour apart."""
    first = datetime(2026, 11, 1, 5, 30, tzinfo=UTC)
    clock = first.astimezone(NEW_YORK).replace(tzinfo=None)
    once = Snapshot(key="a", received_at=first, machine_clock=clock)
    again = Snapshot(key="b", received_at=first + timedelta(hours=1), machine_clock=clock)
    assert drift_of(once, NEW_YORK).drift_s == 0
    assert drift_of(again, NEW_YORK).drift_s == 3600
