"""What waits at the office, in lines for Today: money, and what authorities and food ask for."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final
from urllib.parse import urlencode

from django.urls import reverse

from fleet.sales.queries.custody import open_custody
from fleet.sales.queries.settled import latest_settled
from fleet.sales.queries.to_issue import statements_to_issue
from office.templatetags.desk import day as said_day
from service.compliance.models import FoodLock, Recall
from service.compliance.queries.duties import SOON_DAYS, counts
from service.compliance.queries.filing import due_periods
from service.compliance.queries.late_reads import returns_with_later_reads

SHOWN: Final = 6
"""Returns and statements listed one by one; the rest is one line."""


@dataclass(frozen=True)
class Owed:
    """One line: what waits, how much of it and how it stands, and where it is seen to."""

    what: str
    stands: str
    address: str
    late: bool = False


def money_owed(now: datetime, today: date) -> list[Owed]:
    """What an accountant sees to: returns, what came for filed ones, statements, cash, cards.

    Late things stand first. A fixed number of queries.
    """
    lines = [*_returns(today), *_amendments(today), *_statements(today), *_cash(now), *_cards()]
    return sorted(lines, key=lambda one: not one.late)


def compliance_owed(today: date) -> list[Owed]:
    """Duties that are late or due soon, machines whose food is locked, recalls. Three queries."""
    duties = counts(today)
    lines = []
    if duties["late"] or duties["soon"]:
        said = [f"{duties['late']} late"] if duties["late"] else []
        said += [f"{duties['soon']} due within {SOON_DAYS} days"] if duties["soon"] else []
        lines.append(Owed("Duties", ", ".join(said), reverse("office:duties"), duties["late"] > 0))
    if locked := FoodLock.objects.filter(lifted_at__isnull=True).count():
        said_locked = f"{_number(locked, 'machine')} until serviced and restocked"
        lines.append(Owed("Food locked", said_locked, reverse("office:temperatures"), late=True))
    if recalls := Recall.objects.filter(closed_at__isnull=True).count():
        lines.append(Owed("Recalls", f"{recalls} open", reverse("office:recalls"), late=True))
    return lines


def _returns(today: date) -> Iterator[Owed]:
    waiting = sorted(
        (one for one in due_periods(day=today) if one.is_over and one.filing is None),
        key=lambda one: (one.due_on, one.duty.state),
    )
    for one in waiting[:SHOWN]:
        state, period = one.duty.state, one.period
        asked = {"state": state, "starts_on": period.starts_on, "ends_on": period.ends_on}
        yield Owed(
            f"Return of {state} to file, {_days(period.starts_on, period.ends_on)}",
            f"{'late, ' if one.is_late else ''}due {said_day(one.due_on)}",
            f"{reverse('office:tax-report')}?{urlencode(asked)}",
            late=one.is_late,
        )
    if rest := waiting[SHOWN:]:
        late = sum(one.is_late for one in rest)
        stands = f"{len(rest)} more, {late} of them late" if late else f"{len(rest)} more"
        yield Owed("Other returns to file", stands, reverse("office:tax"), late > 0)


def _amendments(today: date) -> Iterator[Owed]:
    found = returns_with_later_reads(day=today)
    for one in found[:SHOWN]:
        filing = one.filing
        yield Owed(
            f"Filed return of {filing.state}, {_days(filing.starts_on, filing.ends_on)}",
            f"{_number(one.reads, 'read')} came since; see whether to amend",
            reverse("office:tax-filing", args=[filing.pk]),
        )
    if rest := found[SHOWN:]:
        stands = f"{len(rest)} more with reads that came since"
        yield Owed("Other filed returns", stands, reverse("office:tax"))


def _statements(today: date) -> Iterator[Owed]:
    found = statements_to_issue(today)
    # The latest are what somebody works on; what is older was perhaps settled before.
    for one in found[-SHOWN:]:
        yield Owed(
            f"Statements of commission, {_days(one.starts_on, one.ends_on)}",
            f"{_number(one.sites, 'site')} to issue",
            reverse("office:commission"),
        )
    if rest := found[:-SHOWN]:
        stands = f"{sum(one.sites for one in rest)} to issue"
        yield Owed("Statements of earlier periods", stands, reverse("office:commission"))


def _cash(now: datetime) -> Iterator[Owed]:
    for one in open_custody(now).waits:
        if one.number:
            late = ""
            if one.late and one.allowed_days:
                of = f"{one.late} " if one.late < one.number else ""
                late = f", {of}for longer than {one.allowed_days} days"
            noun = "Bankings" if one.state in {"banked", "differs"} else "Bags"
            yield Owed(
                f"{noun} {one.words}",
                f"{one.number}{late}",
                reverse("office:bags-custody"),
                late=one.late > 0,
            )


def _cards() -> Iterator[Owed]:
    found = latest_settled()
    if found is None or not (found.mismatches or found.unmatched):
        return
    said = []
    if found.mismatches:
        said.append(f"{_number(len(found.mismatches), 'machine')} settled otherwise than sold")
    if found.unmatched:
        said.append(f"{_number(len(found.unmatched), 'line')} without a machine")
    asked = urlencode({"since": found.since, "until": found.until - timedelta(days=1)})
    yield Owed(
        f"Settlements of cards, {_days(found.since, found.until)}",
        ", ".join(said),
        f"{reverse('office:settlements')}?{asked}",
    )


def _days(starts_on: date, ends_on: date) -> str:
    return f"{said_day(starts_on)} to {said_day(ends_on - timedelta(days=1))}"


def _number(count: int, noun: str) -> str:
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"
