"""Working hours: what holds for any week, and a minute by minute reckoning beside it."""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.compute.hours import (
    Hours,
    NeverOpen,
    add,
    end_of_working_day,
    minutes_between,
    open_time,
)

ZONES = [ZoneInfo(name) for name in ("America/New_York", "Europe/Berlin", "Australia/Lord_Howe")]
FIRST = datetime(2026, 3, 1, tzinfo=UTC)
MOMENTS = st.integers(0, 260 * 24 * 60).map(lambda minutes: FIRST + timedelta(minutes=minutes))


@st.composite
def days(draw: st.DrawFn) -> tuple[tuple[time, time], ...]:
    # Edges apart from the hours that clocks skip or show twice, where a wall clock alone decides.
    edges = draw(st.lists(st.sampled_from([0, *range(4, 24)]), max_size=4, unique=True))
    edges = sorted(edges)[: len(edges) // 2 * 2]
    return tuple((time(a), time(b)) for a, b in zip(edges[::2], edges[1::2], strict=True))


@st.composite
def weeks(draw: st.DrawFn) -> Hours:
    weekly = tuple(draw(days()) for _ in range(7))
    closed = draw(st.frozensets(st.dates(date(2026, 3, 1), date(2026, 11, 15)), max_size=20))
    if not any(weekly):
        weekly = (((time(8), time(17)),), *weekly[1:])
    return Hours(weekly, draw(st.sampled_from(ZONES)), closed)


@settings(max_examples=60)
@given(weeks(), MOMENTS, st.integers(0, 3 * 24 * 60))
def test_minutes_as_somebody_with_a_wall_clock_would_count_them(
    hours: Hours, start: datetime, length: int
) -> None:
    def is_open(moment: datetime) -> bool:
        wall = moment.astimezone(hours.zone)
        day = wall.date()
        return day not in hours.closed and any(
            opens <= wall.time() < closes for opens, closes in hours.weekly[day.weekday()]
        )

    counted = sum(is_open(start + timedelta(minutes=number)) for number in range(length))
    assert minutes_between(start, start + timedelta(minutes=length), hours) == counted


@given(weeks(), MOMENTS, st.integers(0, 20_000), st.integers(0, 20_000))
def test_two_steps_are_one(hours: Hours, start: datetime, one: int, other: int) -> None:
    assert add(add(start, one, hours), other, hours) == add(start, one + other, hours)


@given(weeks(), MOMENTS, st.integers(0, 20_000))
def test_what_is_added_lies_between_and_not_a_minute_earlier(
    hours: Hours, start: datetime, minutes: int
) -> None:
    then = add(start, minutes, hours)
    assert open_time(start, then, hours) == timedelta(minutes=minutes)
    if minutes:
        assert minutes_between(start, then - timedelta(minutes=1), hours) == minutes - 1


@given(weeks(), MOMENTS, st.integers(0, 20), st.integers(0, 20))
def test_more_days_end_later_and_on_a_working_day(
    hours: Hours, start: datetime, fewer: int, more: int
) -> None:
    fewer, more = sorted((fewer, more))
    soon, late = (end_of_working_day(start, days, hours) for days in (fewer, more))
    assert start < soon <= late
    # A closing at midnight is the next day's first moment.
    assert hours.is_working_day((late - timedelta(minutes=1)).date())


def test_what_never_opens_is_said() -> None:
    monday = datetime(2026, 3, 2, 9, tzinfo=UTC)
    shut = Hours(((),) * 7, ZONES[0])
    with pytest.raises(NeverOpen, match="nothing is open for 400 days"):
        add(monday, 1, shut)
    with pytest.raises(NeverOpen, match="nothing is open for 400 days"):
        end_of_working_day(monday, 1, shut)
    assert add(monday, 0, shut) == monday
    assert minutes_between(monday, monday + timedelta(days=3), shut) == 0


def test_nothing_lies_between_a_moment_and_an_earlier_one() -> None:
    hours = Hours((((time(0), time(0)),),) * 7, ZONES[0])
    monday = datetime(2026, 3, 2, 9, tzinfo=UTC)
    assert minutes_between(monday, monday - timedelta(hours=1), hours) == 0


@pytest.mark.parametrize(
    ("week", "said"),
    [
        (((),) * 6, "a week has seven days, Monday first, not 6"),
        ((((time(9), time(8)),),) + ((),) * 6, "weekday 0: 09:00:00 to 08:00:00 ends before"),
        (
            ((),) + (((time(8), time(12)), (time(11), time(17))),) + ((),) * 5,
            "weekday 1: 11:00:00 lies before 12:00:00 is over",
        ),
        (
            (((time(8), time(0)), (time(11), time(17))),) + ((),) * 6,
            "weekday 0: 11:00:00 lies before 00:00:00 is over",
        ),
    ],
)
def test_a_week_that_cannot_be_is_refused(week: tuple[object, ...], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        Hours(week, ZONES[0])  # type: ignore[arg-type]


@pytest.mark.parametrize("reckon", [add, end_of_working_day])
def test_nothing_is_reckoned_backwards(reckon: object) -> None:
    hours = Hours((((time(0), time(0)),),) * 7, ZONES[0])
    with pytest.raises(ValueError, match="must not be below zero, not -1"):
        reckon(datetime(2026, 3, 2, 9, tzinfo=UTC), -1, hours)  # type: ignore[operator]
