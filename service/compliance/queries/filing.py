"""What is to be filed and when, what was filed, and what has come to light since."""

import calendar
import gzip
import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time
from decimal import Decimal
from typing import Any, Final
from zoneinfo import ZoneInfo

from django.db.models import Q, QuerySet
from django.utils import timezone

from fleet.sales.models import AuditRead
from people.models import Business
from service.compute.tax.compare import Difference, differences
from service.compute.tax.report import SUMMED, canonical, digest, figures, report, thawed
from service.compute.tax.rounding import Rounding
from service.compute.tax.rules import Rules

from ..models import Filing, FilingDuty
from ..sums.gathering import Basis, Period
from .tax import TaxReport, tax_report, unit

MONTHS: Final = {"month": 1, "quarter": 3, "year": 12}
LONG_BACK: Final = 24  # periods shown at most


@dataclass(frozen=True)
class DuePeriod:
    """A period of a state, when its return is due, and the return that stands, if one was filed."""

    duty: FilingDuty
    period: Period
    due_on: date
    filing: Filing | None
    day: date
    """The day it is looked at."""

    @property
    def is_over(self) -> bool:
        return self.period.ends_on <= self.day

    @property
    def is_late(self) -> bool:
        return self.filing is None and self.due_on < self.day


def today() -> date:
    return timezone.localdate(timezone.now(), Business.the().time_zone)


def periods(every: str, first: date, until: date) -> Iterator[Period]:
    """The calendar's months, quarters or years from the one that holds `first` to `until`'s."""
    months = MONTHS[every]
    starts = date(first.year, (first.month - 1) // months * months + 1, 1)
    while starts <= until:
        year, month = divmod(starts.year * 12 + starts.month - 1 + months, 12)
        ends = date(year, month + 1, 1)
        yield Period(starts, ends)
        starts = ends


def due_on(duty: FilingDuty, period: Period) -> date:
    """The due day of the month after a period; the month's last where it has no such day."""
    year, month = period.ends_on.year, period.ends_on.month
    return date(year, month, min(duty.due_day, calendar.monthrange(year, month)[1]))


def due_periods(*, day: date | None = None) -> list[DuePeriod]:
    """Every state's periods up to now, latest first, with what was filed. Two queries."""
    day = day or today()
    last = {
        (one.state, one.starts_on, one.ends_on): one
        for one in Filing.objects.defer("inputs").order_by("pk")
    }
    found = [
        DuePeriod(
            duty,
            period,
            due_on(duty, period),
            last.get((duty.state, period.starts_on, period.ends_on)),
            day,
        )
        for duty in FilingDuty.objects.all()
        for period in list(periods(duty.every, duty.first_period, day))[-LONG_BACK:]
    ]
    return sorted(found, key=lambda one: (one.period.starts_on, one.duty.state), reverse=True)


def standing_filing(state: str, period: Period) -> Filing | None:
    """The return that stands for a period: the last amendment, or the first return."""
    return (
        Filing.objects.filter(state=state, starts_on=period.starts_on, ends_on=period.ends_on)
        .order_by("-pk")
        .first()
    )


def overlapping(state: str, period: Period) -> Filing | None:
    """A return of the state for other days of which some are in the period too."""
    return (
        Filing.objects.filter(state=state, amends__isnull=True)
        .filter(starts_on__lt=period.ends_on, ends_on__gt=period.starts_on)
        .exclude(starts_on=period.starts_on, ends_on=period.ends_on)
        .first()
    )


def filings() -> "QuerySet[Filing]":
    """Every return, the latest period first, without the frozen inputs."""
    return Filing.objects.defer("inputs").select_related("filed_by", "amends")


def period_of(filing: Filing) -> Period:
    return Period(filing.starts_on, filing.ends_on)


def report_now(filing: Filing) -> TaxReport:
    """The report of a filed period as it would be today, reckoned as the return was."""
    return tax_report(
        period_of(filing),
        state=filing.state,
        basis=filing.basis,
        rounding=Rounding(filing.rounding),
    )


def inputs_of(filing: Filing) -> dict[str, Any]:
    """The facts and rules that a return was made from."""
    data: dict[str, Any] = json.loads(gzip.decompress(bytes(filing.inputs)))
    return data


@dataclass(frozen=True)
class Recomputed:
    """A return reckoned anew from nothing but what it froze, beside the figures that were filed."""

    digest_holds: bool
    differs: tuple[Difference, ...]

    @property
    def is_same(self) -> bool:
        return self.digest_holds and not self.differs


def recomputed(filing: Filing) -> Recomputed:
    """The frozen inputs put under the frozen rules once more, compared figure by figure."""
    data = inputs_of(filing)
    facts, rules = thawed(data)
    again = report(facts, Rules.of(rules), rounding=Rounding(filing.rounding), unit=unit())
    return Recomputed(
        digest_holds=digest(data) == filing.digest,
        differs=differences(filing.figures, figures(again)),
    )


def frozen(inputs: dict[str, Any]) -> bytes:
    """Inputs as a filing keeps them: the same inputs give the same bytes."""
    return gzip.compress(canonical(inputs), mtime=0)


@dataclass(frozen=True)
class Changed:
    """A line that is another now than when it was filed; figures by name, as filed and as now."""

    state: str
    names: tuple[str, ...]
    code: str
    title: str
    was: dict[str, Decimal]
    now: dict[str, Decimal]

    @property
    def receipts(self) -> Decimal:
        return self.now["receipts"] - self.was["receipts"]

    @property
    def tax(self) -> Decimal:
        return self.now["tax"] - self.was["tax"]


@dataclass(frozen=True)
class SinceFiled:
    """What has changed of a filed period: lines, totals, and the reads that came later."""

    filing: Filing
    lines: tuple[Changed, ...]
    receipts: Decimal
    tax: Decimal
    reads: tuple[AuditRead, ...]
    now: TaxReport

    @property
    def is_same(self) -> bool:
        return not self.lines


def since_filed(filing: Filing) -> SinceFiled:
    """A filed period beside what the books say of it now."""
    now = report_now(filing)
    was_lines = {_key(line): line for line in filing.figures["lines"]}
    now_lines = {_key(line): line for line in figures(now.report)["lines"]}
    changed = []
    for key in sorted({*was_lines, *now_lines}):
        was, then = _sums(was_lines.get(key)), _sums(now_lines.get(key))
        if was == then:
            continue
        line = now_lines.get(key) or was_lines[key]
        changed.append(
            Changed(line["state"], tuple(line["names"]), line["class"], line["title"], was, then)
        )
    return SinceFiled(
        filing=filing,
        lines=tuple(changed),
        receipts=sum((one.receipts for one in changed), Decimal(0)),
        tax=sum((one.tax for one in changed), Decimal(0)),
        reads=tuple(later_reads(filing)),
        now=now,
    )


def later_reads(filing: Filing) -> "QuerySet[AuditRead]":
    """Reads of a filed period that came after it was filed."""
    return (
        AuditRead.objects.filter(came_later(filing))
        .select_related("machine")
        .defer("raw")
        .order_by("received_at", "pk")
        .distinct()
    )


def came_later(filing: Filing, zone: ZoneInfo | None = None) -> Q:
    """What holds of a read that belongs to a filed period and came after it was filed.

    `zone` is the business's, for whoever asks of many returns.
    """
    zone = zone or Business.the().time_zone
    since = datetime.combine(filing.starts_on, time(), tzinfo=zone)
    until = datetime.combine(filing.ends_on, time(), tzinfo=zone)
    late = Q(interval_to__ends_at__gte=since, interval_to__ends_at__lt=until)
    if filing.basis == Basis.DAYS:
        late = Q(interval_to__starts_at__lt=until, interval_to__ends_at__gt=since)
    # Machines of another state have no part in this return.
    stood = Q(
        machine__placements__site__state__iexact=filing.state,
        machine__placements__starts_at__lt=until,
    )
    stood &= Q(machine__placements__ends_at__isnull=True) | Q(
        machine__placements__ends_at__gt=since
    )
    return late & stood & Q(received_at__gt=filing.filed_at)


def _key(line: dict[str, Any]) -> tuple[str, ...]:
    return (
        line["state"],
        ",".join(line["jurisdictions"]),
        line["class"],
        line["rule"],
        line["rate"],
        # Sales that are unclassified for different reasons are different lines.
        "; ".join(line["why"]) if Decimal(line["unclassified"]) else "",
    )


def _sums(line: dict[str, Any] | None) -> dict[str, Decimal]:
    return {name: Decimal(line[name]) if line else Decimal(0) for name in SUMMED}
