"""Settlements of cards held against what machines counted as cashless."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Final

from django.db import connection
from django.db.models import Count, Q, QuerySet, Sum

from fleet.machines.models import Machine
from people.models import Business, Person

from ..models import CardTerminal, SettlementFile, SettlementLine, SettlementMapping
from .commission import first_moment, money_gate

NOTHING: Final = Decimal(0)
MOST_DAYS: Final = 400
"""A period that is held against sales at once."""
TOLERANCE: Final = Decimal(1)
"""How much a machine's days may differ, in the currency's unit, before they are listed."""
TOLERANCE_PERCENT: Final = Decimal(2)

# Cashless sales of an interval are spread evenly over its time and cut at each day's edge, rounded
# down until each edge, so that days add up to the interval.
BY_DAY: Final = """
WITH day AS (
    SELECT d::date AS day, d::date::timestamp AT TIME ZONE %(zone)s AS begins,
           (d::date + 1)::timestamp AT TIME ZONE %(zone)s AS ends
    FROM generate_series(%(since)s::date, %(last)s::date, interval '1 day') d
)
SELECT i.machine_id, day.day, sum(
    CASE WHEN i.ends_at = i.starts_at THEN i.cashless_minor ELSE
        floor(i.cashless_minor * extract(epoch FROM least(day.ends, i.ends_at) - i.starts_at)
              / extract(epoch FROM i.ends_at - i.starts_at))
        - floor(i.cashless_minor
              * extract(epoch FROM greatest(day.begins, i.starts_at) - i.starts_at)
              / extract(epoch FROM i.ends_at - i.starts_at)) END),
    sum(extract(epoch FROM least(day.ends, i.ends_at) - greatest(day.begins, i.starts_at)))
        >= extract(epoch FROM max(day.ends) - min(day.begins))
FROM sales_machineinterval i
JOIN day ON i.starts_at < day.ends
    AND (i.ends_at > day.begins OR (i.ends_at = i.starts_at AND i.ends_at >= day.begins))
WHERE i.cashless_minor IS NOT NULL AND i.starts_at < %(until_at)s AND i.ends_at >= %(since_at)s
    AND i.currency IN ('', %(currency)s) AND i.exponent = %(exponent)s
    AND (%(machine)s::bigint IS NULL OR i.machine_id = %(machine)s)
GROUP BY 1, 2 ORDER BY 1, 2
"""


@dataclass(frozen=True)
class Day:
    """One machine's day. `counted` is None where no read tells of it; `is_whole` says that reads
    tell of all of it."""

    machine_id: int
    machine: str
    day: date
    counted: Decimal | None
    settled: Decimal
    fee: Decimal
    is_whole: bool = True

    @property
    def told(self) -> str:
        """How much of the day reads tell of."""
        if self.counted is None:
            return "no read"
        return "whole" if self.is_whole else "in part"

    @property
    def difference(self) -> Decimal | None:
        return None if self.counted is None else self.settled - self.counted


@dataclass(frozen=True)
class OfMachine:
    """The days of one machine together; `why` is empty where they agree."""

    machine_id: int
    machine: str
    counted: Decimal
    settled: Decimal
    fee: Decimal
    days: tuple[Day, ...]
    why: str

    @property
    def difference(self) -> Decimal:
        return self.settled - self.counted


@dataclass(frozen=True)
class Matched:
    """A period of settlements against sales: by machine, and lines that found no machine.

    Each of those says `why`.
    """

    since: date
    until: date
    machines: tuple[OfMachine, ...]
    unmatched: tuple[SettlementLine, ...]

    @property
    def mismatches(self) -> tuple[OfMachine, ...]:
        return tuple(one for one in self.machines if one.why)

    @property
    def fees(self) -> Decimal:
        return sum((one.fee for one in self.machines), NOTHING) + sum(
            (line.fee for line in self.unmatched), NOTHING
        )


def matched(
    since: date,
    until: date,
    *,
    tolerance: Decimal = TOLERANCE,
    tolerance_percent: Decimal = TOLERANCE_PERCENT,
    machine: Machine | None = None,
) -> Matched:
    """Settlements and cashless sales of the days `[since, until)`, machine by machine.

    Of one `machine`, where it is given; lines without a machine are then left out.

    Days are shown, and the days that reads tell of are judged together: between two reads nobody
    knows on which day a product was sold. Of a day that reads tell of in part, what was settled may
    have been sold before or after the read: any share of it is taken for agreement. A fixed number
    of queries.
    """
    only = None if machine is None else machine.pk
    counted = _counted(since, until, only)
    lines = SettlementLine.objects.filter(day__gte=since, day__lt=until)
    found = lines.filter(machine__isnull=False) if only is None else lines.filter(machine=only)
    settled = {
        (row["machine"], row["day"]): (row["gross"], row["fee_sum"])
        for row in found.order_by()
        .values("machine", "day")
        .annotate(gross=Sum("gross"), fee_sum=Sum("fee"))
    }
    keys = {key for key, _ in {*counted, *settled}}
    names = dict(Machine.objects.filter(pk__in=keys).values_list("pk", "asset_tag"))
    days: dict[int, list[Day]] = defaultdict(list)
    for key, day in sorted({*counted, *settled}):
        gross, fee = settled.get((key, day), (NOTHING, NOTHING))
        told, is_whole = counted.get((key, day), (None, False))
        days[key].append(Day(key, names[key], day, told, gross, fee, is_whole))
    judged = [
        _judged(key, names[key], those, tolerance, tolerance_percent) for key, those in days.items()
    ]
    unmatched = lines.filter(machine=None) if only is None else lines.none()
    lacking = list(unmatched.select_related("file").defer("file__raw").order_by("day", "pk"))
    _say_why(lacking)
    return Matched(
        since,
        until,
        tuple(sorted(judged, key=lambda one: (one.why == "", one.machine))),
        tuple(lacking),
    )


def fees_of_machines(since: date, until: date) -> dict[int, Decimal]:
    """Fees of card payments by machine in the days `[since, until)`."""
    rows = SettlementLine.objects.filter(day__gte=since, day__lt=until, machine__isnull=False)
    return dict(rows.order_by().values_list("machine").annotate(sum=Sum("fee")))


def files() -> "QuerySet[SettlementFile]":
    """Files taken in, the latest first, with their sums and how many lines lack a machine."""
    return (
        SettlementFile.objects.defer("raw")
        .select_related("mapping", "by")
        .annotate(
            count=Count("lines"),
            gross=Sum("lines__gross"),
            fee=Sum("lines__fee"),
            net=Sum("lines__net"),
            lacking=Count("lines", filter=Q(lines__machine__isnull=True)),
        )
    )


def lines() -> "QuerySet[SettlementLine]":
    """Lines of every file, the latest day first."""
    return SettlementLine.objects.select_related("machine").order_by("-day", "-pk")


def file_for(person: Person, pk: int, *, write: bool = False) -> SettlementFile:
    """Raises NotFound, NotAllowed."""
    return money_gate(files(), person, pk, write)


def mapping_for(person: Person, pk: int, *, write: bool = False) -> SettlementMapping:
    """Raises NotFound, NotAllowed."""
    return money_gate(SettlementMapping.objects.all(), person, pk, write)


def terminal_for(person: Person, pk: int, *, write: bool = False) -> CardTerminal:
    """Raises NotFound, NotAllowed."""
    return money_gate(terminal_entries(), person, pk, write)


def terminal_entries() -> "QuerySet[CardTerminal]":
    """Entries of terminals, withdrawn ones too, by code and the latest first."""
    return CardTerminal.objects.select_related("machine").order_by("code", "-starts_on", "-pk")


def _say_why(lines: list[SettlementLine]) -> None:
    """Say of each line without a machine why it has none. One query."""
    entries: dict[str, list[CardTerminal]] = defaultdict(list)
    codes = {line.terminal for line in lines}
    if codes:
        for one in terminal_entries().filter(code__in=codes, withdrawn_at__isnull=True):
            entries[one.code].append(one)
    for line in lines:
        known = entries[line.terminal]
        left = next((one for one in known if one.ends_on and one.ends_on <= line.day), None)
        if left is not None:
            line.why = f"the terminal was taken down from {left.machine} on {left.ends_on}"
        elif known:
            first = known[-1]
            line.why = f"the terminal hangs in {first.machine} since {first.starts_on}, not before"
        else:
            line.why = "no terminal and no machine has this number"


def _counted(
    since: date, until: date, machine: int | None
) -> dict[tuple[int, date], tuple[Decimal, bool]]:
    business = Business.the()
    with connection.cursor() as cursor:
        cursor.execute(
            BY_DAY,
            {
                "zone": str(business.time_zone),
                "since": since,
                "last": until - timedelta(days=1),
                "since_at": first_moment(since),
                "until_at": first_moment(until),
                "currency": business.currency,
                "exponent": business.currency_exponent,
                "machine": machine,
            },
        )
        return {
            (machine, day): (Decimal(minor).scaleb(-business.currency_exponent), is_whole)
            for machine, day, minor, is_whole in cursor.fetchall()
        }


def _judged(
    machine: int, name: str, days: list[Day], tolerance: Decimal, percent: Decimal
) -> OfMachine:
    told = [one for one in days if one.counted is not None]
    counted = sum((one.counted or NOTHING for one in told), NOTHING)
    settled = sum((one.settled for one in told), NOTHING)
    all_settled = sum((one.settled for one in days), NOTHING)
    off = settled - counted
    allowed = max(tolerance, counted * percent / 100)
    in_part = sum((max(one.settled, NOTHING) for one in told if not one.is_whole), NOTHING)
    why = ""
    if not told:
        why = "settled, and no read tells what was sold"
    elif counted and not all_settled:
        why = "sold for cards, and nothing was settled"
    elif off > allowed + in_part:
        why = "more was settled than sold"
    elif off < -allowed:
        why = "less was settled than sold"
    fee = sum((one.fee for one in days), NOTHING)
    return OfMachine(machine, name, counted, settled, fee, tuple(days), why)
