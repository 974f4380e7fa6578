"""What customers paid at sites, agreements with hosts, statements, and what is owed."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from decimal import Decimal
from typing import Any, Final

from django.db import connection
from django.db.models import Case, DecimalField, F, OuterRef, QuerySet, Subquery, Sum, Value, When
from django.db.models.functions import Coalesce

from people.errors import NotAllowed, NotFound
from people.models import Business, Person
from people.roles import Role

from ..models import Agreement, Statement, StatementCorrection, StatementPayment

MONEY: Final = DecimalField(max_digits=14, decimal_places=4)
NOTHING: Final = Decimal(0)
READERS: Final = (Role.OWNER, Role.DISPATCHER, Role.ACCOUNTANT)
KEEPERS: Final = (Role.OWNER, Role.ACCOUNTANT)

# An interval across the edge of the period or a move is cut by time. What was sold until a moment
# is rounded down and parts are differences of that, so that the parts of an interval add up to it.
# Seconds are multiplied before they are divided: a third, rounded, would lose a cent of its whole.
RECEIPTS: Final = """
WITH piece AS (
    SELECT i.id AS interval_id, i.machine_id, p.site_id,
           CASE WHEN i.ends_at = i.starts_at THEN 0
                ELSE extract(epoch FROM greatest(i.starts_at, p.starts_at, %(since)s) - i.starts_at)
           END AS begins_s,
           CASE WHEN i.ends_at = i.starts_at THEN 1
                ELSE extract(epoch FROM least(i.ends_at, p.ends_at, %(until)s) - i.starts_at)
           END AS ends_s,
           CASE WHEN i.ends_at = i.starts_at THEN 1
                ELSE extract(epoch FROM i.ends_at - i.starts_at) END AS length_s
    FROM sales_machineinterval i
    JOIN machines_placement p ON p.machine_id = i.machine_id
        AND p.starts_at < greatest(i.ends_at, i.starts_at + interval '1 microsecond')
        AND p.starts_at < %(until)s
        AND (p.ends_at IS NULL OR (p.ends_at > i.starts_at AND p.ends_at > %(since)s))
    WHERE i.starts_at < %(until)s
        AND (i.ends_at > %(since)s OR (i.ends_at = i.starts_at AND i.ends_at >= %(since)s))
        AND i.currency IN ('', %(currency)s) AND i.exponent = %(exponent)s
        AND (%(sites)s::bigint[] IS NULL OR i.machine_id IN (
            SELECT machine_id FROM machines_placement WHERE site_id = ANY(%(sites)s)))
)
SELECT piece.site_id, piece.machine_id, coalesce(product.form, ''),
       sum(floor(line.paid_minor * piece.ends_s / piece.length_s)
           - floor(line.paid_minor * piece.begins_s / piece.length_s)),
       count(*) FILTER (WHERE line.paid_minor IS NULL AND line.paid_units > 0)
FROM piece
JOIN sales_saleinterval line ON line.interval_id = piece.interval_id
LEFT JOIN machines_setup up ON up.id = line.set_up_id
LEFT JOIN machines_product product ON product.id = up.product_id
GROUP BY 1, 2, 3 ORDER BY 1, 2, 3
"""


@dataclass(frozen=True)
class Taken:
    """What customers paid for one product class of one machine at one site."""

    site_id: int
    machine_id: int
    form: str
    receipts: Decimal
    untold: int


def receipts(starts_on: date, ends_on: date, *, sites: Sequence[int] | None = None) -> list[Taken]:
    """Receipts of the days `[starts_on, ends_on)` by site, machine and product class.

    Of machines that ever stood at `sites`, with what they took elsewhere in the period too. One
    statement, whatever is asked.
    """
    business = Business.the()
    given = {
        "since": first_moment(starts_on),
        "until": first_moment(ends_on),
        "sites": None if sites is None else list(sites),
        "currency": business.currency,
        "exponent": business.currency_exponent,
    }
    with connection.cursor() as cursor:
        cursor.execute(RECEIPTS, given)
        return [
            Taken(
                site, machine, form, Decimal(minor or 0).scaleb(-business.currency_exponent), untold
            )
            for site, machine, form, minor, untold in cursor.fetchall()
        ]


def first_moment(day: date) -> datetime:
    return datetime.combine(day, time(0), tzinfo=Business.the().time_zone)


def by_site(taken: Sequence[Taken]) -> dict[int, list[Taken]]:
    found: dict[int, list[Taken]] = defaultdict(list)
    for one in taken:
        found[one.site_id].append(one)
    return found


def agreements() -> "QuerySet[Agreement]":
    return Agreement.objects.select_related("site")


def agreements_in(starts_on: date, ends_on: date) -> "QuerySet[Agreement]":
    """Agreements that hold on some day of `[starts_on, ends_on)`."""
    return agreements().filter(starts_on__lt=ends_on).exclude(ends_on__lte=starts_on)


def _sum_of(rows: "QuerySet[Any]", **of: Any) -> Coalesce:
    key = next(iter(of))
    summed = rows.filter(**of).order_by().values(key).annotate(sum=Sum("amount")).values("sum")
    return Coalesce(Subquery(summed), Value(NOTHING), output_field=MONEY)


def statements() -> "QuerySet[Statement]":
    """Statements with `paid`, and `open`: what is still owed, nothing where it was carried over."""
    paid = _sum_of(StatementPayment.objects.all(), statement=OuterRef("pk"))
    standing = Case(
        When(carried_over_on__isnull=True, then=F("due")),
        default=Value(NOTHING),
        output_field=MONEY,
    )
    return (
        Statement.objects.select_related("site", "agreement", "issued_by", "carried_over_on")
        .annotate(paid=paid)
        .annotate(open=standing - F("paid"))
    )


def waiting_corrections(site_ids: Sequence[int]) -> "QuerySet[StatementCorrection]":
    """Corrections that the next statement of each site will carry."""
    return (
        StatementCorrection.objects.filter(statement__site__in=site_ids, carried_on__isnull=True)
        .select_related("statement")
        .order_by("pk")
    )


def left_over(site_ids: Sequence[int]) -> "QuerySet[Statement]":
    """Statements whose due is below nothing, which the next statement of each site will carry."""
    return Statement.objects.filter(
        site__in=site_ids, due__lt=0, carried_over_on__isnull=True
    ).order_by("number")


def owed() -> dict[str, Decimal]:
    """Over all hosts: what was issued, paid, is open, and what waits for the next statements:
    corrections, and, as a part of what is open, what is below nothing.

    What a statement carried over is in its due and in that of the one before; it counts once.
    """
    sums = Statement.objects.order_by().aggregate(due=Sum("due"), over=Sum("carried_over"))
    due = (sums["due"] or NOTHING) - (sums["over"] or NOTHING)
    paid = _total(StatementPayment.objects.all(), "amount")
    waiting = _total(StatementCorrection.objects.filter(carried_on__isnull=True), "amount")
    over = _total(Statement.objects.filter(due__lt=0, carried_over_on__isnull=True), "due")
    return {"due": due, "paid": paid, "open": due - paid, "waiting": waiting, "over": over}


def _total(rows: "QuerySet[Any]", column: str) -> Decimal:
    return rows.order_by().aggregate(all=Sum(column))["all"] or NOTHING


def agreement_for(person: Person, pk: int, *, write: bool = False) -> Agreement:
    """Raises NotFound, NotAllowed."""
    return money_gate(agreements(), person, pk, write)


def statement_for(person: Person, pk: int, *, write: bool = False) -> Statement:
    """Raises NotFound, NotAllowed."""
    return money_gate(statements(), person, pk, write)


def money_gate(rows: "QuerySet[Any]", person: Person, pk: int, write: bool) -> Any:
    """One of `rows`, for those who see the money. Raises NotFound, NotAllowed."""
    row = rows.filter(pk=pk).first() if person.has_role(*READERS) else None
    if row is None:
        raise NotFound(f"there is no {rows.model._meta.verbose_name} {pk}")
    if write and not person.has_role(*KEEPERS):
        raise NotAllowed(f"{row}: you may see this and not change it")
    return row
