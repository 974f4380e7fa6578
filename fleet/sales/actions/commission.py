"""Statements of commission: previewed, issued, corrected, paid, and mailed."""

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from decimal import Decimal
from functools import partial
from typing import Any, Final

from celery import signature
from django.db import connection, transaction

from fleet.compute.commission import MachineReceipts, Off
from fleet.compute.commission import Statement as Reckoned
from fleet.compute.commission import statement as reckon
from fleet.machines.models import Machine, Site
from people import audit, bulk
from people.errors import Unable, Unacceptable
from people.models import AuditEntry, Business, Person
from people.rows import put

from ..models import Agreement, Statement, StatementCorrection, StatementPayment
from ..queries.commission import Taken, by_site, receipts, waiting_corrections
from ..terms import said, terms_from
from .agreements import covered_of

NOTHING: Final = Decimal(0)
PREVIEWED: Final = ("terms", "starts_on", "ends_on", "rhythm", "site_id")
"""What of an agreement a preview stands on."""
MAIL: Final = "fleet.sales.tasks.mail_statement"
NUMBERS: Final = 5_460_011
"""Held while numbers are given out, so that none is given twice and none is missing."""


class UnableToIssue(Unable):
    code = "unable_to_issue"


@dataclass(frozen=True)
class Deduction:
    """What one machine's receipts of a class at a site hold that may be taken off."""

    tax: Decimal = NOTHING
    deposit: Decimal = NOTHING
    refunds: Decimal = NOTHING


@dataclass(frozen=True)
class Preview:
    """What would be issued. `figures` is what is frozen; `digest` is of it."""

    agreement: Agreement
    starts_on: date
    ends_on: date
    reckoned: Reckoned
    carried: tuple[StatementCorrection, ...]
    figures: Mapping[str, Any]
    digest: str

    @property
    def due(self) -> Decimal:
        return self.reckoned.amount + sum((one.amount for one in self.carried), NOTHING)


def preview(
    *,
    agreement: Agreement,
    starts_on: date,
    ends_on: date,
    deductions: Mapping[tuple[int, str], Deduction] | None = None,
    words: Sequence[str] = (),
    taken: Sequence[Taken] | None = None,
    names: Mapping[int, str] | None = None,
    carried: Sequence[StatementCorrection] | None = None,
) -> Preview:
    """What a period of an agreement comes to. Nothing is written.

    `deductions` are by machine and product class; None where nobody told them, which the figures
    then say. `words` are what the reader of the figures must know besides. `taken`, `names` and
    `carried` are given by who reckons many sites, and asked here otherwise.
    """
    business = Business.the()
    terms = terms_from(agreement.terms)
    if taken is None:
        found = receipts(starts_on, ends_on, sites=[agreement.site_id])
        taken = by_site(found).get(agreement.site_id, [])
    if names is None:
        keys = {one.machine_id for one in taken}
        names = dict(Machine.objects.filter(pk__in=keys).values_list("pk", "asset_tag"))
    if carried is None:
        carried = list(waiting_corrections(agreement.site_id))
    told = [*words]
    if deductions is None and terms.base:
        off = ", ".join(one.value for one in Off if one in terms.base)
        told.append(f"Not known and not taken off: {off}.")
    untold = sum(one.untold for one in taken)
    if untold:
        told.append(
            f"{untold} lines tell how many were sold and not for how much; their money is in no "
            "figure here."
        )
    lines = _lines(taken, names, deductions or {})
    reckoned = reckon(
        terms,
        lines,
        places=business.currency_exponent,
        covered=covered_of(agreement, starts_on, ends_on),
    )
    reckoned = replace(reckoned, said=(*reckoned.said, *told))
    figures = _figures(agreement, starts_on, ends_on, lines, reckoned, carried, business)
    return Preview(
        agreement, starts_on, ends_on, reckoned, tuple(carried), figures, digest_of(figures)
    )


def digest_of(figures: Mapping[str, Any]) -> str:
    """SHA-256 of figures as canonical JSON."""
    plain = json.dumps(figures, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(plain.encode()).hexdigest()


@transaction.atomic
def issue(*, previews: Sequence[Preview], actor: Person, now: datetime) -> list[Statement]:
    """Issue statements as previewed, all or none, in statements that do not grow with them.

    Raises UnableToIssue when a period is not over, was issued, or is no longer as previewed.
    """
    today = now.astimezone(Business.the().time_zone).date()
    keys = sorted({one.agreement.pk for one in previews})
    if len(keys) != len(previews):
        raise UnableToIssue("one statement of an agreement at a time")
    locked = Agreement.objects.select_for_update(of=("self",)).filter(pk__in=keys)
    stood = {row.pk: row for row in locked.order_by("pk")}
    carried = [one.pk for preview in previews for one in preview.carried]
    rows = StatementCorrection.objects.select_for_update(of=("self",), no_key=True)
    waiting = {row.pk: row for row in rows.filter(pk__in=carried, carried_on=None).order_by("pk")}
    issued: dict[int, list[Statement]] = {}
    for row in Statement.objects.filter(site__in=[one.agreement.site_id for one in previews]):
        issued.setdefault(row.site_id, []).append(row)
    for one in previews:
        _require(one, stood, waiting, issued.get(one.agreement.site_id, []), today)
    _lock_numbers()
    last = Statement.objects.order_by("-number").values_list("number", flat=True).first() or 0
    sites = Site.objects.in_bulk([one.agreement.site_id for one in previews])
    made = [
        _statement(one, last + index, sites[one.agreement.site_id], actor, now)
        for index, one in enumerate(previews, start=1)
    ]
    bulk.write(made)
    for one, row in zip(previews, made, strict=True):
        for correction in one.carried:
            held = waiting[correction.pk]
            held.carried_on = row
    StatementCorrection.objects.bulk_update(waiting.values(), ["carried_on"])
    bulk.write(
        [
            AuditEntry(
                **audit.entry_values(
                    actor=actor, verb="issue statement", row=row, now=now, after=audit.values(row)
                )
            )
            for row in made
        ]
    )
    return made


@transaction.atomic
def correct(
    *, statement: Statement, amount: Decimal, reason: str, actor: Person, now: datetime
) -> StatementCorrection:
    """Say what an issued statement had wrong; the next statement of the site carries it.

    Raises Unacceptable by field: it cannot take back more than the statement told of.
    """
    _require_cents(amount, "amount")
    held = Statement.objects.select_for_update(of=("self",), no_key=True).get(pk=statement.pk)
    told = held.amount + sum((one.amount for one in held.corrections.all()), NOTHING)
    if amount < 0 and told + amount < 0:
        places = Business.the().currency_exponent
        message = f"{held} tells of {told:.{places}f} with its corrections; take back no more"
        raise Unacceptable(f"amount: {message}", fields={"amount": message})
    return put(
        StatementCorrection(statement=held, at=now, by=actor),
        {"amount": amount, "reason": reason.strip()},
        actor=actor,
        verb="correct statement",
        now=now,
    )


@transaction.atomic
def pay(
    *,
    statement: Statement,
    amount: Decimal,
    paid_on: date,
    actor: Person,
    now: datetime,
    reference: str = "",
) -> StatementPayment:
    """Write down money that went to a host. Raises Unacceptable: more than is owed, or tomorrow."""
    _require_cents(amount, "amount")
    held = Statement.objects.select_for_update(of=("self",), no_key=True).get(pk=statement.pk)
    open_yet = held.due - sum((one.amount for one in held.payments.all()), NOTHING)
    if amount > open_yet:
        places = Business.the().currency_exponent
        message = f"{held} is owed {open_yet:.{places}f} yet; give no more"
        raise Unacceptable(f"amount: {message}", fields={"amount": message})
    if paid_on > now.astimezone(Business.the().time_zone).date():
        message = "is in the future; give the day it was paid"
        raise Unacceptable(f"paid_on: {message}", fields={"paid_on": message})
    return put(
        StatementPayment(statement=held, by=actor, recorded_at=now),
        {"amount": amount, "paid_on": paid_on, "reference": reference.strip()},
        actor=actor,
        verb="pay statement",
        now=now,
    )


@transaction.atomic
def send(*, statement: Statement, actor: Person, now: datetime) -> Statement:
    """Ask for a statement to be mailed to its host; the letter leaves once the transaction is kept.

    Raises Unable when there is no address, or it was mailed.
    """
    held = Statement.objects.select_for_update(of=("self",), no_key=True).get(pk=statement.pk)
    if held.mailed_at is not None:
        day = Business.the().day_of(held.mailed_at)
        raise Unable(f"{held} was mailed on {day}", code="mailed_before")
    if not address_of(held):
        raise Unable(
            f"{held.site} has no e-mail address of its host; enter it at the site",
            code="no_address",
        )
    row = put(held, {"mail_asked_at": now}, actor=actor, verb="mail statement", now=now)
    transaction.on_commit(partial(signature(MAIL, args=[row.pk]).delay), robust=True)
    return row


def address_of(statement: Statement) -> str:
    """Where a statement goes: the host's address when it was issued, else as entered since."""
    return statement.host_email or statement.site.host_email


def _lines(
    taken: Sequence[Taken],
    names: Mapping[int, str],
    deductions: Mapping[tuple[int, str], Deduction],
) -> list[MachineReceipts]:
    """Receipts by machine and class, with what may be taken off each."""
    lines = []
    for one in sorted(taken, key=lambda one: (one.machine_id, one.form)):
        off = deductions.get((one.machine_id, one.form), Deduction())
        lines.append(
            MachineReceipts(
                names[one.machine_id], one.form, one.receipts, off.tax, off.deposit, off.refunds
            )
        )
    return lines


def _figures(
    agreement: Agreement,
    starts_on: date,
    ends_on: date,
    lines: Sequence[MachineReceipts],
    reckoned: Reckoned,
    carried: Sequence[StatementCorrection],
    business: Business,
) -> dict[str, Any]:
    off = {(one.machine, one.product_class): one for one in lines}
    return {
        "site": agreement.site.name,
        "starts_on": starts_on.isoformat(),
        "ends_on": ends_on.isoformat(),
        "currency": business.currency,
        "terms": agreement.terms,
        "terms_said": said(terms_from(agreement.terms)),
        "lines": [
            {
                "machine": one.machine,
                "product_class": one.product_class,
                "receipts": _plain(one.receipts),
                "tax": _plain(off[one.machine, one.product_class].tax),
                "deposit": _plain(off[one.machine, one.product_class].deposit),
                "refunds": _plain(off[one.machine, one.product_class].refunds),
                "base": _plain(one.base),
                "percent": None if one.percent is None else _plain(one.percent),
                "amount": _plain(one.amount),
            }
            for one in reckoned.lines
        ],
        "machines": [
            {
                "machine": one.machine,
                "receipts": _plain(one.receipts),
                "base": _plain(one.base),
                "commission": _plain(one.commission),
                "minimum_added": _plain(one.minimum_added),
                "amount": _plain(one.amount),
            }
            for one in reckoned.by_machine
        ],
        "receipts": _plain(reckoned.receipts),
        "base": _plain(reckoned.base),
        "commission": _plain(reckoned.commission),
        "minimum_added": _plain(reckoned.minimum_added),
        "amount": _plain(reckoned.amount),
        "carried": [
            {
                "of_statement": one.statement.number,
                "amount": _plain(one.amount),
                "reason": one.reason,
            }
            for one in carried
        ],
        "said": list(reckoned.said),
    }


def _require(
    one: Preview,
    stood: Mapping[int, Agreement],
    waiting: Mapping[int, StatementCorrection],
    issued: Sequence[Statement],
    today: date,
) -> None:
    held = stood[one.agreement.pk]
    if any(getattr(held, name) != getattr(one.agreement, name) for name in PREVIEWED):
        raise UnableToIssue(
            f"{one.agreement} was changed meanwhile; look at the preview again",
            code="changed_meanwhile",
        )
    if one.ends_on > today:
        raise UnableToIssue(
            f"{one.agreement.site}: the period ends on {one.ends_on}; issue it then or later",
            code="period_not_over",
        )
    for row in issued:
        if row.starts_on < one.ends_on and row.ends_on > one.starts_on:
            raise UnableToIssue(
                f"{one.agreement.site}: {row} tells of {row.starts_on} until {row.ends_on}; "
                "correct that one",
                code="already_issued",
            )
    if any(correction.pk not in waiting for correction in one.carried):
        raise UnableToIssue(
            f"{one.agreement.site}: a correction was carried meanwhile; look at the preview again",
            code="changed_meanwhile",
        )


def _statement(one: Preview, number: int, site: Site, actor: Person, now: datetime) -> Statement:
    carried = sum((correction.amount for correction in one.carried), NOTHING)
    return Statement(
        number=number,
        agreement=one.agreement,
        site=site,
        starts_on=one.starts_on,
        ends_on=one.ends_on,
        currency=one.figures["currency"],
        receipts=one.reckoned.receipts,
        base=one.reckoned.base,
        commission=one.reckoned.commission,
        minimum_added=one.reckoned.minimum_added,
        amount=one.reckoned.amount,
        carried=carried,
        due=one.reckoned.amount + carried,
        figures=one.figures,
        digest=one.digest,
        host_name=site.host_name,
        host_email=site.host_email,
        issued_at=now,
        issued_by=actor,
    )


def _lock_numbers() -> None:
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(%s)", [NUMBERS])


def _require_cents(amount: Decimal, field: str) -> None:
    places = Business.the().currency_exponent
    if not amount.is_finite() or amount != round(amount, places):
        message = f"{amount}; give whole units of {Business.the().currency}'s smallest coin"
        raise Unacceptable(f"{field}: {message}", fields={field: message})


def _plain(amount: Decimal) -> str:
    return f"{amount:f}"
