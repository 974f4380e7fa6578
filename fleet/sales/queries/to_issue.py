"""Periods of agreements that are over and for which no statement was issued yet."""

from collections import Counter
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from ..actions.agreements import calendar_period
from ..models import Agreement, Statement

LOOKED_BACK: Final = timedelta(days=400)


@dataclass(frozen=True)
class ToIssue:
    """How many sites wait for their statement of one calendar period `[starts_on, ends_on)`."""

    rhythm: str
    starts_on: date
    ends_on: date
    sites: int


def statements_to_issue(today: date) -> list[ToIssue]:
    """The periods of a little more than a year that are over and not issued, the earliest first.

    A period counts once it is over on the calendar, even where its agreement ended within it: all
    statements of a period are issued together. Two queries.
    """
    since = today - LOOKED_BACK
    issued = set(
        Statement.objects.filter(ends_on__gt=since).order_by().values_list("agreement", "starts_on")
    )
    waiting: Counter[tuple[date, date, str]] = Counter()
    rows = Agreement.objects.order_by().exclude(ends_on__lte=since)
    for key, rhythm, starts_on, ends_on in rows.values_list("pk", "rhythm", "starts_on", "ends_on"):
        day = max(starts_on, since)
        while ends_on is None or day < ends_on:
            starts, ends = calendar_period(rhythm, day)
            if ends > today:
                break
            if starts >= since and (key, max(starts, starts_on)) not in issued:
                waiting[starts, ends, rhythm] += 1
            day = ends
    return [
        ToIssue(rhythm, starts, ends, sites)
        for (starts, ends, rhythm), sites in sorted(waiting.items())
    ]
