"""What the business decides about demand: the rules, and days that are not as usual."""

from collections.abc import Mapping
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from fleet.machines.models import Site
from people import rows
from people.models import Person

from ..models import DemandRules, UnusualDay


def change_rules(*, changes: Mapping[str, Any], actor: Person, now: datetime) -> DemandRules:
    """Change how demand is fitted and what filling aims at. Raises Unacceptable."""
    return rows.put(DemandRules.the(), changes, actor=actor, verb="change demand rules", now=now)


def mark_day(
    *,
    day: date,
    part: Decimal,
    actor: Person,
    now: datetime,
    site: Site | None = None,
    note: str = "",
) -> UnusualDay:
    """Say how much of what is usual a site, or every site, sells on a day.

    Said again of the same day and site, the new holds. Raises Unacceptable.
    """
    marked = UnusualDay.objects.filter(day=day, site=site).first()
    return rows.put(
        marked or UnusualDay(day=day, site=site),
        {"part": part, "note": note},
        actor=actor,
        verb="mark unusual day",
        now=now,
    )


def unmark_day(*, unusual_day: UnusualDay, actor: Person, now: datetime) -> None:
    """The day is as usual after all."""
    rows.delete(unusual_day, actor=actor, verb="unmark unusual day", now=now)
