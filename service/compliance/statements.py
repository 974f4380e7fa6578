"""Statements of commission, with tax and deposits by the rules entered, and refunds paid."""

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from decimal import ROUND_HALF_UP, Decimal

from django.db.models import Sum

from fleet.compute.commission import parts_of
from fleet.machines.models import Machine, Placement
from fleet.sales.actions.agreements import calendar_period, period_of
from fleet.sales.actions.commission import UnableToIssue, issue
from fleet.sales.models import Agreement, Statement, StatementCorrection
from fleet.sales.previews import Deduction, Preview, preview
from fleet.sales.queries.commission import (
    Taken,
    agreements_in,
    by_site,
    first_moment,
    left_over,
    receipts,
    waiting_corrections,
)
from fleet.sales.terms import terms_from
from people.models import Business, Person
from service.tickets.models import Refund

from .models import TaxSettings
from .queries.tax import MachineTax, tax_of_classes
from .sums.gathering import Period

NOTHING = Decimal(0)


def preview_of(agreement: Agreement, day: date) -> Preview:
    """What the period of an agreement that `day` lies in comes to. Raises Unacceptable."""
    starts_on, ends_on = period_of(agreement, day)
    (found,) = _previews([agreement], starts_on, ends_on, _Waiting([agreement.site_id]))
    return found


def previews(rhythm: str, day: date) -> list[Preview]:
    """All agreements of one rhythm for the calendar period of a day, those issued left out.

    A fixed number of queries, however many sites there are.
    """
    starts_on, ends_on = calendar_period(rhythm, day)
    issued = Statement.objects.filter(starts_on__lt=ends_on, ends_on__gt=starts_on)
    rows = (
        agreements_in(starts_on, ends_on)
        .filter(rhythm=rhythm)
        .exclude(pk__in=issued.values("agreement"))
        .order_by("site__name", "starts_on", "pk")
    )
    # Terms that begin or end within the period have one of their own.
    alike: dict[tuple[date, date], list[Agreement]] = defaultdict(list)
    for row in rows:
        alike[period_of(row, max(starts_on, row.starts_on))].append(row)
    waiting = _Waiting([row.site_id for row in rows])
    return [
        found
        for (starts, ends), those in sorted(alike.items())
        for found in _previews(those, starts, ends, waiting)
    ]


def issue_seen(
    *, agreement: Agreement, day: date, seen: str, actor: Person, now: datetime
) -> Statement:
    """Issue the statement of the period that a day lies in, if it is still as it was seen.

    `seen` is the digest of the preview. Raises UnableToIssue, Unacceptable.
    """
    found = preview_of(agreement, day)
    if found.digest != seen:
        raise UnableToIssue(
            "the figures changed since you looked; look at them again", code="changed_meanwhile"
        )
    (made,) = issue(previews=[found], actor=actor, now=now)
    return made


def run_statements(*, rhythm: str, day: date, actor: Person, now: datetime) -> list[Statement]:
    """Issue the statements of all sites for the period of a day. Raises UnableToIssue."""
    return issue(previews=previews(rhythm, day), actor=actor, now=now)


class _Waiting:
    """What waits for the next statement of sites: corrections, and what is below nothing.

    Whoever takes it has it alone: of two statements of a site that are reckoned together, the first
    carries it.
    """

    def __init__(self, sites: Sequence[int]) -> None:
        self._corrections: dict[int, list[StatementCorrection]] = defaultdict(list)
        for one in waiting_corrections(sites):
            self._corrections[one.statement.site_id].append(one)
        self._over: dict[int, list[Statement]] = defaultdict(list)
        for left in left_over(sites):
            self._over[left.site_id].append(left)

    def take(self, site: int) -> tuple[list[StatementCorrection], list[Statement]]:
        return self._corrections.pop(site, []), self._over.pop(site, [])


def _previews(
    rows: Sequence[Agreement], starts_on: date, ends_on: date, waiting: _Waiting
) -> list[Preview]:
    sites = [row.site_id for row in rows]
    taken = receipts(starts_on, ends_on, sites=sites)
    of_site = by_site(taken)
    keys = {one.machine_id for one in taken}
    names = dict(Machine.objects.filter(pk__in=keys).values_list("pk", "asset_tag"))
    wanted = frozenset().union(*(terms_from(row.terms).base for row in rows))
    tax: dict[tuple[int, str], MachineTax] = {}
    if wanted & {"tax", "deposit"}:
        # By days, as receipts are spread here, whatever the basis of filings.
        basis = TaxSettings.Basis.DAYS
        tax = tax_of_classes(Period(starts_on, ends_on), machines=sorted(keys), basis=basis)
    refunds = _refunds(starts_on, ends_on, sites) if "refunds" in wanted else {}
    whole = _by_class(taken)
    made = []
    for row in rows:
        here = of_site.get(row.site_id, [])
        off, words = _deductions(row, here, whole, tax, refunds)
        carried, over = waiting.take(row.site_id)
        made.append(
            preview(
                agreement=row,
                starts_on=starts_on,
                ends_on=ends_on,
                deductions=off,
                words=words,
                taken=here,
                names=names,
                carried=carried,
                over=over,
            )
        )
    return made


def _deductions(
    row: Agreement,
    here: Sequence[Taken],
    whole: Mapping[tuple[int, str], Decimal],
    tax: Mapping[tuple[int, str], MachineTax],
    refunds: Mapping[tuple[int, int], Decimal],
) -> tuple[dict[tuple[int, str], Deduction], list[str]]:
    """Tax and deposits are those of each class; a machine that moved leaves each site its part of
    them, by what the class took there. Refunds are told by machine, and shared over its classes."""
    base = terms_from(row.terms).base
    found, words, bare, moved = {}, [], NOTHING, False
    paid_back = _refunds_by_class(row, here, refunds)
    for key, amount in _by_class(here).items():
        all_of = whole[key]
        part = amount / all_of if all_of else NOTHING
        moved = moved or amount != all_of
        one = tax.get(key, MachineTax())
        bare += one.unclassified * part
        found[key] = Deduction(
            tax=_cents(one.tax * part),
            deposit=_cents(one.deposit * part),
            refunds=paid_back.get(key, NOTHING),
        )
    if "tax" in base and bare:
        words.append(
            f"No rule of tax is entered for {_cents(bare)} of receipts; tax on them is not known "
            "and not taken off."
        )
    lacking = sum(tax.get(key, MachineTax()).bare_units for key in found)
    if "deposit" in base and lacking:
        words.append(
            f"The container deposit of {lacking} units is not known and not taken off: size, "
            "material or what is in them is not written down."
        )
    if moved and base & {"tax", "deposit"}:
        words.append("A machine moved; its tax is shared over its sites by what it took at each.")
    if "tax" in base:
        words.append("Tax as the rules entered reckon it; this is no tax advice.")
    many = Counter(machine for machine, _ in found)
    if any(many[machine] > 1 for machine, form in found if paid_back.get((machine, form))):
        words.append(
            "Refunds are told by machine, not by product; they are shared over its classes by what "
            "each took."
        )
    machines = {machine for machine, _ in found}
    lost = {machine for site, machine in refunds if site == row.site_id} - machines
    if lost:
        words.append(
            f"Refunds of {len(lost)} machines that took nothing here in the period are not taken "
            "off."
        )
    return found, words


def _refunds_by_class(
    row: Agreement, here: Sequence[Taken], refunds: Mapping[tuple[int, int], Decimal]
) -> dict[tuple[int, str], Decimal]:
    places = Business.the().currency_exponent
    of_machine: dict[int, dict[str, Decimal]] = defaultdict(dict)
    for (machine, form), amount in _by_class(here).items():
        of_machine[machine][form] = amount
    return {
        (machine, form): part
        for machine, forms in of_machine.items()
        for form, part in parts_of(
            refunds.get((row.site_id, machine), NOTHING), forms, places=places
        ).items()
    }


def _refunds(
    starts_on: date, ends_on: date, sites: Sequence[int]
) -> dict[tuple[int, int], Decimal]:
    """Refunds paid in the period by site and machine; the site is where the machine then stood."""
    rows = (
        Refund.objects.filter(
            state=Refund.State.PAID,
            ended_at__gte=first_moment(starts_on),
            ended_at__lt=first_moment(ends_on),
        )
        .values_list("ticket__machine", "ended_at")
        .annotate(sum=Sum("amount"))
    )
    told = list(rows)
    machines = {machine for machine, _, _ in told}
    stood = defaultdict(list)
    for one in Placement.objects.filter(machine__in=machines, site__in=sites):
        stood[one.machine_id].append(one)
    found: dict[tuple[int, int], Decimal] = defaultdict(Decimal)
    for machine, at, amount in told:
        for one in stood[machine]:
            if one.starts_at <= at and (one.ends_at is None or at < one.ends_at):
                found[one.site_id, machine] += amount
    return dict(found)


def _by_class(taken: Sequence[Taken]) -> dict[tuple[int, str], Decimal]:
    found: dict[tuple[int, str], Decimal] = defaultdict(Decimal)
    for one in taken:
        found[one.machine_id, one.form] += one.receipts
    return dict(found)


def _cents(amount: Decimal) -> Decimal:
    unit = Decimal(1).scaleb(-Business.the().currency_exponent)
    return amount.quantize(unit, rounding=ROUND_HALF_UP)
