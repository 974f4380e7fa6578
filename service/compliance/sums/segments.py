"""The time of each machine in pieces within which nothing that decides its tax changes.

A piece ends where the machine moves, takes another payment, where a rate of its place begins or
ends, where its site comes under another jurisdiction, and where a rule of its state begins or ends.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from typing import Final, TypeAlias
from zoneinfo import ZoneInfo

from fleet.machines.models import Machine, Placement, WaysOfPaying
from service.compute.tax.rates import on
from service.compute.tax.rules import Rule, Takes
from service.compute.tax.split import ZERO, RateOf

from ..models import Jurisdiction, Rate, SiteJurisdiction

LONG_AGO: Final = datetime(1900, 1, 1, tzinfo=UTC)
FOR_EVER: Final = datetime(2999, 1, 1, tzinfo=UTC)
Span: TypeAlias = tuple[RateOf, date, date | None]
"""A jurisdiction's rates in `[begins, ends)`; None: no end is known."""


@dataclass(frozen=True)
class Segment:
    """One machine in `[starts, ends)`. `state` is empty where the machine stood nowhere known."""

    machine_id: int
    starts: datetime
    ends: datetime
    on: date
    site_id: int | None
    state: str
    premises: str
    takes: Takes
    rates: tuple[RateOf, ...]


@dataclass(frozen=True)
class _Stay:
    site_id: int | None
    state: str
    premises: str
    zone: ZoneInfo
    starts: datetime
    ends: datetime


class Segments:
    """Segments of machines between two moments, in a fixed number of queries."""

    def __init__(
        self,
        *,
        since: datetime,
        until: datetime,
        rules: Iterable[Rule],
        zone: ZoneInfo,
        machines: Sequence[int] | None = None,
    ) -> None:
        self._since, self._until, self._zone = since, until, zone
        self._turns: dict[str, set[date]] = defaultdict(set)
        for rule in rules:
            self._turns[rule.state] |= {day for day in (rule.begins, rule.ends) if day}
        self._read_rates()
        self._read_places(machines)

    def all(self) -> list[Segment]:
        """Every segment, by machine and time; those of one machine leave no gap."""
        return [segment for machine in sorted(self._stays) for segment in self._of_machine(machine)]

    def _read_rates(self) -> None:
        self._jurisdictions = {one.pk: one for one in Jurisdiction.objects.all()}
        self._of_state = {
            one.state: one.pk for one in self._jurisdictions.values() if one.kind == "state"
        }
        self._rates: dict[int, list[Span]] = defaultdict(list)
        for row in Rate.objects.all():
            place = self._jurisdictions[row.jurisdiction_id]
            rate = RateOf(place.code, place.name, place.kind, row.general, row.food)
            self._rates[place.pk].append((rate, row.begins_on, row.ends_on))
        self._lies: dict[int, list[SiteJurisdiction]] = defaultdict(list)
        for lies in SiteJurisdiction.objects.all():
            self._lies[lies.site_id].append(lies)
        self._known: dict[tuple[int | None, str, date], tuple[RateOf, ...]] = {}

    def _read_places(self, machines: Sequence[int] | None) -> None:
        keys = Machine.objects.values_list("pk", flat=True)
        placed = Placement.objects.select_related("site").order_by("machine", "starts_at")
        ways = WaysOfPaying.objects.order_by("machine", "starts_on")
        if machines is not None:
            keys = keys.filter(pk__in=machines)
            placed = placed.filter(machine__in=machines)
            ways = ways.filter(machine__in=machines)
        self._stays: dict[int, list[_Stay]] = {key: [] for key in keys}
        for row in placed:
            stays = self._stays[row.machine_id]
            last = stays[-1].ends if stays else LONG_AGO
            if row.starts_at > last:
                stays.append(self._nowhere(last, row.starts_at))
            stays.append(
                _Stay(
                    row.site_id,
                    row.site.state.upper(),
                    row.site.premises,
                    ZoneInfo(str(row.site.time_zone)),
                    row.starts_at,
                    row.ends_at or FOR_EVER,
                )
            )
        for stays in self._stays.values():
            last = stays[-1].ends if stays else LONG_AGO
            if last < FOR_EVER:
                stays.append(self._nowhere(last, FOR_EVER))
        self._ways: dict[int, list[WaysOfPaying]] = defaultdict(list)
        for way in ways:
            self._ways[way.machine_id].append(way)

    def _nowhere(self, starts: datetime, ends: datetime) -> _Stay:
        return _Stay(None, "", "", self._zone, starts, ends)

    def _of_machine(self, machine: int) -> Iterable[Segment]:
        for stay in self._stays[machine]:
            if stay.ends <= self._since or stay.starts >= self._until:
                continue
            ways = self._ways[machine]
            days = self._days(stay, ways)
            moments = (_midnight(day, stay.zone) for day in days)
            inside = {moment for moment in moments if stay.starts < moment < stay.ends}
            for starts, ends in pairwise([stay.starts, *sorted(inside), stay.ends]):
                if ends <= self._since or starts >= self._until:
                    continue
                day = max(starts, self._since).astimezone(stay.zone).date()
                yield Segment(
                    machine_id=machine,
                    starts=starts,
                    ends=ends,
                    on=day,
                    site_id=stay.site_id,
                    state=stay.state,
                    premises=stay.premises,
                    takes=_takes(ways, day),
                    rates=self._rates_at(stay, day),
                )

    def _days(self, stay: _Stay, ways: Sequence[WaysOfPaying]) -> set[date]:
        """Days on which something of a stay may change."""
        days = {way.starts_on for way in ways} | self._turns[stay.state]
        for key in self._keys(stay):
            for _, begins, ends in self._rates[key]:
                days |= {begins} | ({ends} if ends else set())
        for lies in self._lies[stay.site_id] if stay.site_id else ():
            days |= {day for day in (lies.begins_on, lies.ends_on) if day}
        margin = timedelta(days=2)
        first, last = (self._since - margin).date(), (self._until + margin).date()
        return {day for day in days if first <= day <= last}

    def _keys(self, stay: _Stay) -> set[int]:
        keys = {lies.jurisdiction_id for lies in self._lies[stay.site_id or 0]}
        of_state = self._of_state.get(stay.state)
        return keys | ({of_state} if of_state else set())

    def _spans(self, key: int, day: date) -> Sequence[Span]:
        """A jurisdiction's rates; where none holds on the day, one that says so for it alone."""
        spans = self._rates[key]
        if any(_holds(span, day) for span in spans):
            return spans
        place = self._jurisdictions[key]
        unknown = RateOf(place.code, place.name, place.kind, ZERO, known=False)
        return [(unknown, day, None)]

    def _rates_at(self, stay: _Stay, day: date) -> tuple[RateOf, ...]:
        known = self._known.get((stay.site_id, stay.state, day))
        if known is None:
            keys = {
                lies.jurisdiction_id
                for lies in self._lies[stay.site_id or 0]
                if (lies.begins_on is None or lies.begins_on <= day)
                and (lies.ends_on is None or day < lies.ends_on)
            }
            of_state = self._of_state.get(stay.state)
            keys |= {of_state} if of_state else set()
            known = on([rate for key in keys for rate in self._spans(key, day)], day)
            if known and not of_state and stay.state:
                # Counties alone would make too little of it.
                known = (RateOf(stay.state, stay.state, "state", ZERO, known=False), *known)
            self._known[stay.site_id, stay.state, day] = known
        return known


def _holds(span: Span, day: date) -> bool:
    _, begins, ends = span
    return begins <= day and (ends is None or day < ends)


def _takes(ways: Sequence[WaysOfPaying], day: date) -> Takes:
    """What a machine takes on a day: all forms of payment where nothing else is known."""
    last = next((way for way in reversed(ways) if way.starts_on <= day), None)
    return Takes(last.takes) if last else Takes.ALL


def _midnight(day: date, zone: ZoneInfo) -> datetime:
    return datetime.combine(day, time(0), tzinfo=zone)
