"""The working calendar: which days the business works, and who drives on them."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

import holidays
from django.db.models import Prefetch, Q

from people.roles import Role

from ..models import DayOff, DriverProfile, RunAssumptions, Shift, Vehicle, WorkingDay

FURTHEST_DAYS = 31
"""No chance to visit within these days is as good as none."""


@dataclass(frozen=True)
class OnDuty:
    """A driver who works on a day, with the vehicle and the hours."""

    profile: DriverProfile
    vehicle: Vehicle
    starts_at: datetime
    ends_at: datetime


@dataclass(frozen=True)
class OffDuty:
    """A driver who is not planned for on a day, and why."""

    profile: DriverProfile
    why: str


@dataclass(frozen=True)
class Duty:
    """Who drives on a day. `closed` says why nobody does; empty on a working day."""

    day: date
    closed: str
    on: tuple[OnDuty, ...]
    off: tuple[OffDuty, ...]


class Calendar:
    """The days of a period, read once."""

    def __init__(self, first: date, last: date) -> None:
        self._assumed = RunAssumptions.the()
        span = Q(date__gte=first, date__lte=last)
        self._working = dict(WorkingDay.objects.filter(span).values_list("date", "why"))
        self._off: dict[tuple[int | None, date], str] = {
            (profile, day): why
            for profile, day, why in DayOff.objects.filter(span).values_list(
                "profile", "date", "why"
            )
        }
        self._profiles = list(
            DriverProfile.objects.filter(active=True)
            .select_related("person", "vehicle", "depot__site")
            .prefetch_related(Prefetch("shifts", queryset=Shift.objects.order_by("weekday")))
            .order_by("pk")
        )
        self._vehicles = list(Vehicle.objects.filter(active=True).order_by("pk"))

    def closed(self, day: date) -> str:
        """Why nobody works on a day; empty when the business works."""
        if (None, day) in self._off:
            return self._off[None, day]
        if day in self._working:
            return ""
        country, part = self._assumed.holidays_country, self._assumed.holidays_part
        return public_holiday(day, country, part)

    def duty(self, day: date) -> Duty:
        """Who drives on a day, each on a vehicle of their own."""
        why = self.closed(day)
        if why:
            return Duty(day, why, (), tuple(OffDuty(one, why) for one in self._profiles))
        on: list[OnDuty] = []
        off: list[OffDuty] = []
        taken: set[int] = set()
        for profile in self._profiles:
            shift, reason = self._shift(profile, day)
            if shift is None:
                off.append(OffDuty(profile, reason))
                continue
            vehicle = self._vehicle(profile, taken)
            if vehicle is None:
                off.append(OffDuty(profile, "no vehicle is free"))
                continue
            taken.add(vehicle.pk)
            zone = profile.depot.site.time_zone
            on.append(
                OnDuty(profile, vehicle, at(day, shift.starts, zone), at(day, shift.ends, zone))
            )
        return Duty(day, "", tuple(on), tuple(off))

    def next_chance(self, day: date, open_weekdays: Iterable[int]) -> date:
        """The next day after `day` on which somebody drives and a place open on these weekdays can
        be entered; FURTHEST_DAYS on when there is none."""
        weekdays = set(open_weekdays)
        for ahead in range(1, FURTHEST_DAYS):
            then = day + timedelta(days=ahead)
            if then.weekday() in weekdays and self._somebody_drives(then):
                return then
        return day + timedelta(days=FURTHEST_DAYS)

    @lru_cache(maxsize=128)  # noqa: B019 - a calendar lives as long as one plan
    def _somebody_drives(self, day: date) -> bool:
        return bool(self.duty(day).on)

    def _shift(self, profile: DriverProfile, day: date) -> tuple[Shift | None, str]:
        if not profile.person.has_role(Role.DRIVER):
            return None, "drives no more"
        if (profile.pk, day) in self._off:
            return None, self._off[profile.pk, day]
        for shift in profile.shifts.all():
            if shift.weekday == day.weekday():
                return shift, ""
        return None, "no shift on this weekday"

    def _vehicle(self, profile: DriverProfile, taken: set[int]) -> Vehicle | None:
        usual = profile.vehicle
        if usual is not None and usual.active and usual.pk not in taken:
            return usual
        reserved = {one.vehicle_id for one in self._profiles}
        for vehicle in self._vehicles:
            if (
                vehicle.pk not in taken
                and vehicle.pk not in reserved
                and vehicle.depot_id == profile.depot_id
            ):
                return vehicle
        return None


@lru_cache(maxsize=4096)
def public_holiday(day: date, country: str, part: str) -> str:
    """The name of a public holiday; empty when it is none, or the country is not known."""
    if not country:
        return ""
    try:
        days = holidays.country_holidays(country, subdiv=part or None, years=day.year)
    except NotImplementedError:
        return ""
    return str(days.get(day) or "")


def at(day: date, clock: time, zone: ZoneInfo) -> datetime:
    """A clock time on a day, where the zone is."""
    return datetime.combine(day, clock, zone)
