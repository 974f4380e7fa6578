"""Days as the computations see them: seconds after midnight where the business is."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

from fleet.machines.models import OpeningWindow, Site
from people.models import Business
from service.compute.routing.problem import Window

from .queries.calendar import at


@dataclass(frozen=True)
class Day:
    """One day of the business. Seconds are real ones: on the night the clocks change a day has more
    or fewer than 86,400."""

    date: date
    zone: ZoneInfo

    @property
    def midnight(self) -> datetime:
        return at(self.date, time(), self.zone)

    def seconds(self, moment: datetime) -> int:
        """Whole seconds after midnight; below zero the day before."""
        return round((moment - self.midnight).total_seconds())

    def moment(self, seconds: int) -> datetime:
        return self.midnight + timedelta(seconds=seconds)


def day_of(when: date) -> Day:
    return Day(when, Business.the().time_zone)


def windows(site: Site, day: Day, opening: Iterable[OpeningWindow]) -> tuple[Window, ...] | None:
    """When a site can be entered on a day; None when not at all, empty when at any time.

    A site of which no hours are kept is open.
    """
    hours = list(opening)
    if not hours:
        return ()
    found = tuple(
        Window(
            max(0, day.seconds(at(day.date, one.opens, site.time_zone))),
            max(0, day.seconds(at(day.date, one.closes, site.time_zone))),
        )
        for one in hours
        if one.weekday == day.date.weekday()
    )
    return found or None


def minor(amount: Decimal, exponent: int) -> int:
    """An amount of money in minor units, rounded half up."""
    return int(amount.scaleb(exponent) + Decimal("0.5"))
