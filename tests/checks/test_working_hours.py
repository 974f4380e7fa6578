"""Working hours against cases worked by hand, over clock changes and holidays.

Clocks: by the Energy Policy Act of 2005, section 110, daylight saving time in the United States
begins on the second Sunday of March and ends on the first Sunday of November, both at 2 in the
morning: 8 March and 1 November in 2026. By Directive 2000/84/EC it begins in the European Union on
the last Sunday of March and ends on the last Sunday of October, at 1 in the morning UTC: 29 March
and 25 October in 2026. Public holidays: 5 U.S. Code 6103 (one that falls on a Saturday is kept on
the Friday before: 4 July 2026 is a Saturday).
"""

from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

import holidays
import pytest

from service.compute.hours import Hours, add, end_of_working_day, minutes_between, open_time

NEW_YORK = ZoneInfo("America/New_York")
BERLIN = ZoneInfo("Europe/Berlin")
PHOENIX = ZoneInfo("America/Phoenix")  # keeps no daylight saving time
SANTIAGO = ZoneInfo("America/Santiago")  # changes its clock at midnight

OFFICE = (((time(8), time(17)),),) * 5 + ((), ())
"""Monday to Friday from 8 to 17: nine hours a day."""
BY_NIGHT = (((time(0), time(6)), (time(22), time(0))),) * 7
"""Every night from 22 to 6, in two windows that meet at midnight."""
ALWAYS = (((time(0), time(0)),),) * 7

NONE: frozenset[date] = frozenset()


def ny(month: int, day: int, hour: int, minute: int = 0, *, fold: int = 0) -> datetime:
    return datetime(2026, month, day, hour, minute, tzinfo=NEW_YORK, fold=fold)


def us_holidays(year: int) -> frozenset[date]:
    return frozenset(holidays.country_holidays("US", years=year))


# Start, minutes, what the clock shows then, and how it is reckoned.
ADDED = [
    # Friday 6 March 15:00. Friday holds 2 h until 17:00; 4 h - 2 h = 2 h are left; the week-end
    # is closed, and that the clock skips an hour on Sunday changes nothing: Monday 8:00 + 2 h.
    (OFFICE, ny(3, 6, 15), 240, ny(3, 9, 10)),
    # Friday 30 October 15:00 + 4 h, the week-end with the hour twice: Monday 2 November 10:00.
    (OFFICE, ny(10, 30, 15), 240, ny(11, 2, 10)),
    # Exactly what is left of the day ends at its closing, not at the next opening.
    (OFFICE, ny(3, 6, 15), 120, ny(3, 6, 17)),
    # One minute more is the first minute of Monday.
    (OFFICE, ny(3, 6, 15), 121, ny(3, 9, 8, 1)),
    # Before opening, after closing, on a Sunday: all wait for the next opening.
    (OFFICE, ny(3, 3, 5), 60, ny(3, 3, 9)),
    (OFFICE, ny(3, 3, 21), 60, ny(3, 4, 9)),
    (OFFICE, ny(3, 8, 12), 60, ny(3, 9, 9)),
    # Always open, over the skipped hour: Sunday 8 March 1:30 EST + 60 min. Half an hour to 2:00,
    # which is 3:00 EDT; the other half ends at 3:30 EDT.
    (ALWAYS, ny(3, 8, 1, 30), 60, ny(3, 8, 3, 30)),
    # Saturday 7 March noon + 24 h: that Sunday is an hour short, so the clock shows 13:00.
    (ALWAYS, ny(3, 7, 12), 24 * 60, ny(3, 8, 13)),
    # Over the hour shown twice: 1 November 1:30 EDT + 60 min is 1:30 again, now EST.
    (ALWAYS, ny(11, 1, 1, 30), 60, ny(11, 1, 1, 30, fold=1)),
    # From the second 1:30 (EST) + 60 min: 2:30 EST.
    (ALWAYS, ny(11, 1, 1, 30, fold=1), 60, ny(11, 1, 2, 30)),
    # Saturday 31 October noon + 24 h: the Sunday has an hour more, so the clock shows 11:00.
    (ALWAYS, ny(10, 31, 12), 24 * 60, ny(11, 1, 11)),
    # By night, 22 to 6: Saturday 7 March 23:00 + 5 h. One hour to midnight, two to 2:00 = 3:00,
    # two more: 5:00 EDT.
    (BY_NIGHT, ny(3, 7, 23), 300, ny(3, 8, 5)),
    # The night of the skip has 7 hours, not 8: 22:00 + 7 h is 6:00, closing.
    (BY_NIGHT, ny(3, 7, 22), 420, ny(3, 8, 6)),
    # The night of the hour twice has 9: 22:00 EDT + 8 h is 5:00 EST.
    (BY_NIGHT, ny(10, 31, 22), 480, ny(11, 1, 5)),
]


@pytest.mark.parametrize(("weekly", "start", "minutes", "then"), ADDED)
def test_minutes_added(
    weekly: tuple[tuple[tuple[time, time], ...], ...],
    start: datetime,
    minutes: int,
    then: datetime,
) -> None:
    hours = Hours(weekly, NEW_YORK)
    found = add(start, minutes, hours)
    assert found.astimezone(UTC) == then.astimezone(UTC)
    assert (found.hour, found.minute, found.fold) == (then.hour, then.minute, then.fold)
    assert minutes_between(start, then, hours) == minutes


def test_a_window_that_opens_in_the_skipped_hour_opens_when_the_clock_has_jumped() -> None:
    """8 March, 2:30 to 6:00: at 2:00 the clock shows 3:00, so it is open from then on, 3 h."""
    hours = Hours((((time(2, 30), time(6)),),) * 7, NEW_YORK)
    ((opens, closes),) = hours.open_on(date(2026, 3, 8))
    assert opens == datetime(2026, 3, 8, 7, tzinfo=UTC)  # 2:00 EST = 7:00 UTC
    assert closes == datetime(2026, 3, 8, 10, tzinfo=UTC)  # 6:00 EDT = 10:00 UTC
    assert minutes_between(ny(3, 8, 0), ny(3, 8, 12), hours) == 180


def test_a_window_inside_the_skipped_hour_does_not_open_that_day() -> None:
    hours = Hours((((time(2, 15), time(2, 45)),),) * 7, NEW_YORK)
    assert list(hours.open_on(date(2026, 3, 8))) == []
    # Asked on the 7th at 2:45 for a minute of it: closed on the 8th, so on the 9th at 2:16.
    assert add(ny(3, 7, 2, 45), 1, hours) == ny(3, 9, 2, 16)


def test_the_hour_shown_twice_belongs_to_the_window_of_its_first_showing() -> None:
    """1 November, 0:00 to 1:30 and 1:30 to 6:00. The first 1:30 is 5:30 UTC: 1.5 h before it;
    after it half an hour to 2:00 EDT = 1:00 EST, an hour to 2:00 EST, four to 6:00: 5.5 h."""
    hours = Hours((((time(0), time(1, 30)), (time(1, 30), time(6))),) * 7, NEW_YORK)
    first, second = hours.open_on(date(2026, 11, 1))
    assert first[1] == second[0] == datetime(2026, 11, 1, 5, 30, tzinfo=UTC)
    assert [(end - start).total_seconds() / 3600 for start, end in (first, second)] == [1.5, 5.5]


def test_where_the_clock_jumps_at_midnight_the_day_begins_at_one() -> None:
    """Chile's clock skipped from 0:00 to 1:00 on Sunday 8 September 2024 (IANA time
    zone database)."""
    hours = Hours(ALWAYS, SANTIAGO)
    ((opens, closes),) = hours.open_on(date(2024, 9, 8))
    assert opens == datetime(2024, 9, 8, 4, tzinfo=UTC)
    assert (closes - opens).total_seconds() == 23 * 3600


def test_lengths_of_days_on_both_sides_of_the_ocean() -> None:
    lengths = {
        (NEW_YORK, date(2026, 3, 8)): 23,
        (NEW_YORK, date(2026, 11, 1)): 25,
        (NEW_YORK, date(2026, 3, 29)): 24,
        (BERLIN, date(2026, 3, 29)): 23,
        (BERLIN, date(2026, 10, 25)): 25,
        (BERLIN, date(2026, 3, 8)): 24,
        (PHOENIX, date(2026, 3, 8)): 24,
        (PHOENIX, date(2026, 11, 1)): 24,
    }
    for (zone, day), length in lengths.items():
        ((opens, closes),) = Hours(ALWAYS, zone).open_on(day)
        assert (closes - opens).total_seconds() == length * 3600, (zone, day)


# Start, working days, closing reached. 4 July 2026 is a Saturday and kept on Friday the 3rd.
DAYS = [
    # The next working day after Monday is Tuesday.
    (ny(6, 29, 10), 1, ny(6, 30, 17)),
    # After closing still counts as Monday's: the next working day is Tuesday.
    (ny(6, 29, 20), 1, ny(6, 30, 17)),
    # Thursday 2 July: Friday is the holiday, then the week-end: Monday 6 July.
    (ny(7, 2, 10), 1, ny(7, 6, 17)),
    # From Saturday 4 July the first working day after is Monday.
    (ny(7, 4, 10), 1, ny(7, 6, 17)),
    # Five working days from Wednesday 1 July: 2nd (1), not the 3rd nor the week-end, 6th (2),
    # 7th (3), 8th (4), 9th (5).
    (ny(7, 1, 10), 5, ny(7, 9, 17)),
    # The same day while it is open, else the next that is.
    (ny(7, 2, 10), 0, ny(7, 2, 17)),
    (ny(7, 2, 17), 0, ny(7, 6, 17)),
    (ny(7, 3, 10), 0, ny(7, 6, 17)),
    # Wednesday 25 November; Thursday is Thanksgiving: Friday the 27th.
    (ny(11, 25, 9), 1, ny(11, 27, 17)),
    # Friday 30 October, over the week-end of the clock change: Monday 17:00 EST.
    (ny(10, 30, 9), 1, ny(11, 2, 17)),
]


@pytest.mark.parametrize(("start", "days", "then"), DAYS)
def test_ends_of_working_days_over_holidays(start: datetime, days: int, then: datetime) -> None:
    hours = Hours(OFFICE, NEW_YORK, us_holidays(2026))
    assert end_of_working_day(start, days, hours) == then


def test_working_hours_over_thanksgiving_and_the_new_year() -> None:
    # Wednesday 25 November 16:00 + 10 h: 1 h, Thursday closed, Friday 9 h.
    hours = Hours(OFFICE, NEW_YORK, us_holidays(2026) | us_holidays(2027))
    assert add(ny(11, 25, 16), 600, hours) == ny(11, 27, 17)
    # Thursday 31 December 2026 16:00 + 2 h: 1 h; Friday 1 January and the week-end are closed.
    assert add(ny(12, 31, 16), 120, hours) == datetime(2027, 1, 4, 9, tzinfo=NEW_YORK)
    # Mon 28 (9 h), Tue, Wed, Thu: 36 h of the 168 h of that week.
    assert open_time(ny(12, 28, 0), datetime(2027, 1, 4, tzinfo=NEW_YORK), hours) == open_time(
        ny(12, 28, 8), ny(12, 31, 17), hours
    )
    assert minutes_between(ny(12, 28, 0), ny(12, 31, 23), hours) == 36 * 60


def test_the_moment_may_be_told_in_any_zone() -> None:
    """15:00 in New York on 6 March is 20:00 UTC and 21:00 in Berlin."""
    hours = Hours(OFFICE, NEW_YORK)
    told = [ny(3, 6, 15), datetime(2026, 3, 6, 20, tzinfo=UTC), ny(3, 6, 15).astimezone(BERLIN)]
    assert {add(one, 240, hours) for one in told} == {ny(3, 9, 10)}
    # A Friday night in Berlin is a Friday afternoon in New York: two hours are left of it.
    assert minutes_between(told[2], ny(3, 7, 12), hours) == 120
