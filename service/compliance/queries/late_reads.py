"""Returns that reads came for after they were filed: whether to amend is to be looked at."""

from dataclasses import dataclass
from datetime import date, timedelta
from functools import reduce
from operator import or_
from typing import Final

from django.db.models import Count, Q

from fleet.sales.models import AuditRead
from people.models import Business

from ..models import Filing
from .filing import came_later, filings, today

LOOKED_BACK: Final = timedelta(days=400)
"""Of a year and a little: what was filed before that is looked at on its own page."""


@dataclass(frozen=True)
class ReadsSince:
    """The return that stands for a period, and how many reads came for it since."""

    filing: Filing
    reads: int


def returns_with_later_reads(*, day: date | None = None) -> list[ReadsSince]:
    """Standing returns of the last year for which reads came later, the latest period first.

    Three queries, however many returns there are. A read need not change a figure:
    the return's page compares.
    """
    since = (day or today()) - LOOKED_BACK
    standing = list(filings().filter(starts_on__gte=since, amended_by__isnull=True))
    if not standing:
        return []
    zone = Business.the().time_zone
    late = {f"of_{one.pk}": came_later(one, zone) for one in standing}
    counts = AuditRead.objects.filter(reduce(or_, late.values(), Q())).aggregate(
        **{name: Count("pk", filter=which, distinct=True) for name, which in late.items()}
    )
    return [ReadsSince(one, counts[f"of_{one.pk}"]) for one in standing if counts[f"of_{one.pk}"]]
