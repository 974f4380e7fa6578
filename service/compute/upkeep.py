"""When planned maintenance is due: after days, after vends, or on days of the year.

Each answer says why that day. Where nothing was recorded yet the first turns are spread over the
interval, or the whole fleet would come due on the day a plan is made.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from math import ceil, sqrt
from typing import Final

from scipy.stats import norm

GOLDEN: Final = 0.6180339887498949
"""Multiples of it, less their whole part, fill [0, 1) evenly, however many there are."""
EARLIEST_FIRST: Final = 0.25
"""The first turn comes no sooner than after this part of the interval; assumed."""
FURTHEST_DAYS: Final = 3660
"""No day is estimated further ahead."""
CONFIDENCE: Final = 0.90


class BadInterval(ValueError):
    """An interval or a day of the year that cannot be."""


@dataclass(frozen=True, slots=True)
class Sold:
    """Units that left a machine in so many days, by its never-reset counters at two reads."""

    days: float
    units: int


@dataclass(frozen=True, slots=True)
class Due:
    """The day, the band in which an estimated day lies nine times in ten, and why."""

    on: date
    earliest: date | None
    latest: date | None
    said: str
    figures: dict[str, float | int | str | None] = field(default_factory=dict)


def after_days(every_days: int, *, last: date | None, begins: date, key: int) -> Due:
    """So many days after the last work done; without any, spread by the machine's `key`.

    `begins` is the first day on which the plan holds for the machine. Raises BadInterval.
    """
    if every_days < 1:
        raise BadInterval(f"every {every_days} days; the least is 1")
    figures: dict[str, float | int | str | None] = {"every_days": every_days}
    if last is not None:
        said = f"{_days(every_days)} after it was last done on {last:%Y-%m-%d}"
        return Due(last + timedelta(days=every_days), None, None, said, figures)
    waits = ceil(every_days * (EARLIEST_FIRST + (1 - EARLIEST_FIRST) * _spread(key)))
    said = (
        f"never recorded; first turns are spread from {begins:%Y-%m-%d} on, "
        f"then every {_days(every_days)}"
    )
    return Due(begins + timedelta(days=waits), None, None, said, figures)


def after_vends(
    every_vends: int,
    *,
    last: date | None,
    begins: date,
    key: int,
    sold_since: int,
    pace: Sequence[Sold],
    today: date,
) -> Due | None:
    """The day on which a machine will have sold so many units since the last work done.

    `sold_since` are units since that work (or since `begins`), `pace` the intervals of late from
    which the days still to come are estimated. The band takes the pace as uncertain by what the
    intervals vary (quasi-Poisson: variance a multiple of the mean, at least 1) and the units to
    come by the same; two-sided 90 %. None when nothing was sold, so that no day can be told.
    Raises BadInterval.
    """
    if every_vends < 1:
        raise BadInterval(f"every {every_vends} vends; the least is 1")
    wanted = every_vends
    if last is None:
        wanted = ceil(every_vends * (EARLIEST_FIRST + (1 - EARLIEST_FIRST) * _spread(key)))
    since = f"since {(last or begins):%Y-%m-%d}"
    remaining = wanted - sold_since
    figures: dict[str, float | int | str | None] = {
        "every_vends": every_vends,
        "sold_since": sold_since,
        "remaining": remaining,
    }
    if remaining <= 0:
        said = f"{sold_since} vends {since}, due after {wanted}"
        return Due(today, None, None, said, figures)
    days, units = sum(one.days for one in pace), sum(one.units for one in pace)
    if days <= 0 or units <= 0:
        return None
    rate = units / days
    spread = _dispersion(pace, rate)
    figures |= {"vends_a_day": round(rate, 3), "dispersion": round(spread, 3)}
    earliest, latest = _band(remaining, rate, days, spread)
    said = (
        f"{sold_since} vends {since}, due after {wanted}; {remaining} more at {rate:.1f} a day, "
        f"between {_after(today, earliest):%Y-%m-%d} and {_after(today, latest):%Y-%m-%d}"
    )
    return Due(
        _after(today, remaining / rate),
        _after(today, earliest),
        _after(today, latest),
        said,
        figures,
    )


def on_season(
    season_days: Sequence[str], *, last: date | None, begins: date, notice_days: int
) -> Due:
    """The next of the days of the year (as 05-01) after the last work done.

    Work done up to `notice_days` before such a day counts for it. 02-29 falls on 03-01 in years
    without it. Raises BadInterval.
    """
    if not season_days:
        raise BadInterval("no day of the year is given")
    after = begins - timedelta(days=1) if last is None else last + timedelta(days=notice_days)
    for year in (after.year, after.year + 1):
        for text in sorted(set(season_days)):
            day = day_of_year(text, year)
            if day > after:
                how = "never recorded" if last is None else f"last done on {last:%Y-%m-%d}"
                said = f"the day of the year {text}; {how}"
                return Due(day, None, None, said, {"season_day": text})
    raise BadInterval(f"{', '.join(season_days)} name no day of the year")  # pragma: no cover


def day_of_year(text: str, year: int) -> date:
    """05-01 in a year; 02-29 is 03-01 where there is none. Raises BadInterval."""
    try:
        date(2000, int(text[:2]), int(text[3:]))  # a year that has them all
        if text[2:3] != "-" or len(text) != 5:
            raise ValueError(text)
    except ValueError as error:
        raise BadInterval(f"{text!r} is no day of the year; write it as 05-01") from error
    try:
        return date(year, int(text[:2]), int(text[3:]))
    except ValueError:
        return date(year, 3, 1)


def _dispersion(pace: Sequence[Sold], rate: float) -> float:
    """How many times the variance of what was sold is its mean; at least 1."""
    told = [one for one in pace if one.days > 0]
    if len(told) < 2:
        return 1.0
    chi = sum((one.units - rate * one.days) ** 2 / (rate * one.days) for one in told)
    return max(1.0, chi / (len(told) - 1))


def _band(remaining: int, rate: float, days: float, spread: float) -> tuple[float, float]:
    """Days until `remaining` units are sold, at the least and at the most.

    After t days, rate x t units are expected, uncertain by spread x rate x t of their own and by
    spread x rate x t^2 / days of the pace. The bounds solve |remaining - rate t| = z sd(t), a
    quadratic in t; where the upper has no solution it is as far as days are estimated.
    """
    z2 = float(norm.ppf((1 + CONFIDENCE) / 2)) ** 2 * spread
    a = rate * rate - z2 * rate / days
    b = -(2 * remaining * rate + z2 * rate)
    c = float(remaining) ** 2
    root = sqrt(max(b * b - 4 * a * c, 0.0))
    # The smaller root in the form that does not cancel; it holds for every sign of `a`.
    earliest = 2 * c / (-b + root)
    latest = (-b + root) / (2 * a) if a > 0 else float(FURTHEST_DAYS)
    return earliest, latest


def _after(day: date, days: float) -> date:
    return day + timedelta(days=min(ceil(days), FURTHEST_DAYS))


def _spread(key: int) -> float:
    return (key * GOLDEN) % 1.0


def _days(count: int) -> str:
    return "day" if count == 1 else f"{count} days"
