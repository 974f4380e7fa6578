"""The working hours of sites: their own opening hours or the business's, without closed days."""

from collections.abc import Iterable
from datetime import date, time
from functools import lru_cache

import holidays
from django.db.models import Q

from fleet.machines.models import OpeningWindow, Site
from people.models import Business

from ..compute.hours import Hours
from .models import ClosedDay, ServiceHours

YEARS_AHEAD = 2
"""Promises are reckoned in days and weeks; so far ahead holidays are known."""


def hours_of(site: Site | None, *, year: int) -> Hours:
    """The working hours at a site, or of the business where a machine stands nowhere, right from
    the year before `year` to two years after it."""
    return hours_of_many([site], year=year)[None if site is None else site.pk]


def hours_of_many(sites: Iterable[Site | None], *, year: int) -> dict[int | None, Hours]:
    """The same for many sites at once, by their keys; None is the business's own."""
    wanted = {None if site is None else site.pk: site for site in sites}
    ours = _week(ServiceHours.objects.all())
    windows: dict[int, list[OpeningWindow]] = {}
    for window in OpeningWindow.objects.filter(site__in=[key for key in wanted if key]):
        windows.setdefault(window.site_id, []).append(window)
    closed: dict[int | None, set[date]] = {}
    here = Q(site__isnull=True) | Q(site__in=[key for key in wanted if key])
    for pk, day in ClosedDay.objects.filter(here).values_list("site", "date"):
        closed.setdefault(pk, set()).add(day)
    everywhere = closed.get(None, set())
    found: dict[int | None, Hours] = {}
    for key, site in wanted.items():
        if site is None:
            found[key] = Hours(ours, Business.the().time_zone, frozenset(everywhere))
            continue
        # A site has opening hours for the days it is open; one without any was not asked yet.
        week = _week(windows[site.pk]) if site.pk in windows else ours
        public = holidays_of(site.country, site.state.strip(), year)
        own = closed.get(site.pk, set())
        found[key] = Hours(week, site.time_zone, public | everywhere | own)
    return found


@lru_cache(maxsize=256)
def holidays_of(country: str, part: str, year: int) -> frozenset[date]:
    """Public holidays of a country, and of its part where that is known by this name or code.

    None for a country that is not known.
    """
    years = range(year - 1, year + YEARS_AHEAD + 1)
    for subdivision in filter(None, (part, part.upper(), "all")):
        given = None if subdivision == "all" else subdivision
        try:
            return frozenset(holidays.country_holidays(country, subdiv=given, years=years))
        except NotImplementedError:
            continue
    return frozenset()


def _week(
    rows: "Iterable[OpeningWindow | ServiceHours]",
) -> tuple[tuple[tuple[time, time], ...], ...]:
    """Seven days of windows, in order; windows that lap over become one."""
    days: list[list[tuple[time, time]]] = [[] for _ in range(7)]
    for row in sorted(rows, key=lambda row: (row.weekday, row.opens)):
        day = days[row.weekday]
        if day and row.opens <= day[-1][1]:
            day[-1] = (day[-1][0], max(day[-1][1], row.closes))
        else:
            day.append((row.opens, row.closes))
    return tuple(tuple(day) for day in days)
