"""Statements of commission: previewed, issued, corrected, paid, and mailed."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import date, datetime
from decimal import Decimal
from functools import partial
from typing import Final

from celery import signature
from django.db import connection, transaction

from fleet.machines.models import Site
from people import audit, bulk
from people.errors import Unable, Unacceptable
from people.models import AuditEntry, Business, Person
from people.rows import put

from ..models import Agreement, Statement, StatementCorrection, StatementPayment
from ..previews import Preview
from ..queries.commission import receipts

NOTHING: Final = Decimal(0)
PREVIEWED: Final = ("terms", "starts_on", "ends_on", "rhythm", "site_id")
"""What of an agreement a preview stands on."""
MAIL: Final = "fleet.sales.tasks.mail_statement"
NUMBERS: Final = 5_460_011
"""Held while numbers are given out, so that none is given twice and none is missing."""


class UnableToIssue(Unable):
    code = "unable_to_issue"


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
    over = [one.pk for preview in previews for one in preview.left_over]
    if len({*carried}) != len(carried) or len({*over}) != len(over):
        raise UnableToIssue("two of these statements carry the same; issue one after the other")
    those = Statement.objects.select_for_update(of=("self",), no_key=True)
    left = {row.pk: row for row in those.filter(pk__in=over, carried_over_on=None).order_by("pk")}
    issued: dict[int, list[Statement]] = {}
    for row in Statement.objects.filter(site__in=[one.agreement.site_id for one in previews]):
        issued.setdefault(row.site_id, []).append(row)
    for one in previews:
        _require(one, stood, {*waiting}, {*left}, issued.get(one.agreement.site_id, []), today)
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
        for earlier in one.left_over:
            left[earlier.pk].carried_over_on = row
    StatementCorrection.objects.bulk_update(waiting.values(), ["carried_on"])
    Statement.objects.bulk_update(left.values(), ["carried_over_on"])
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

    Raises Unacceptable by field: it cannot take back more than the statement told of, nor bring it
    above what customers paid in its period, as it told or as reads tell now; a minimum that was
    above that stands, and is not raised. More than that is a slip. No published source.
    """
    _require_cents(amount, "amount")
    held = Statement.objects.select_for_update(of=("self",), no_key=True).get(pk=statement.pk)
    told = held.amount + sum((one.amount for one in held.corrections.all()), NOTHING)
    if amount < 0 and told + amount < 0:
        places = Business.the().currency_exponent
        message = f"{held} tells of {told:.{places}f} with its corrections; take back no more"
        raise Unacceptable(f"amount: {message}", fields={"amount": message})
    if amount > 0:
        _require_within_receipts(held, told, amount)
    return put(
        StatementCorrection(statement=held, at=now, by=actor),
        {"amount": amount, "reason": reason.strip()},
        actor=actor,
        verb="correct statement",
        now=now,
    )


def _require_within_receipts(held: Statement, told: Decimal, amount: Decimal) -> None:
    """Raises Unacceptable, naming the limit."""
    taken = receipts(held.starts_on, held.ends_on, sites=[held.site_id])
    now_told = sum((one.receipts for one in taken if one.site_id == held.site_id), NOTHING)
    most = max(held.receipts, now_told, held.amount)
    if told + amount > most:
        places = Business.the().currency_exponent
        left = max(most - told, NOTHING)
        message = (
            f"{held} tells of {told:.{places}f} with its corrections, and its limit is "
            f"{most:.{places}f}, the receipts of its period or its minimum; give at most "
            f"{left:.{places}f}"
        )
        raise Unacceptable(f"amount: {message}", fields={"amount": message})


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
    # What is below nothing is never paid, but carried over.
    paid = sum((one.amount for one in held.payments.all()), NOTHING)
    open_yet = max(held.due, NOTHING) - paid
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


def _require(
    one: Preview,
    stood: Mapping[int, Agreement],
    waiting: Collection[int],
    left: Collection[int],
    issued: Sequence[Statement],
    today: date,
) -> None:
    held = stood[one.agreement.pk]
    if any(getattr(held, name) != getattr(one.agreement, name) for name in PREVIEWED):
        raise UnableToIssue(
            f"{one.agreement} was changed meanwhile; look at the preview again",
            code="changed_meanwhile",
        )
    if hindered := _hindrance(one, issued, today):
        raise hindered
    if any(correction.pk not in waiting for correction in one.carried):
        raise UnableToIssue(
            f"{one.agreement.site}: a correction was carried meanwhile; look at the preview again",
            code="changed_meanwhile",
        )
    if any(earlier.pk not in left for earlier in one.left_over):
        raise UnableToIssue(
            f"{one.agreement.site}: what an earlier statement left was carried over meanwhile; "
            "look at the preview again",
            code="changed_meanwhile",
        )


def hindrance(one: Preview, now: datetime) -> UnableToIssue | None:
    """Why a preview could not be issued now, where its period is not over or was told of."""
    issued = Statement.objects.filter(site=one.agreement.site_id)
    return _hindrance(one, issued, now.astimezone(Business.the().time_zone).date())


def _hindrance(one: Preview, issued: Iterable[Statement], today: date) -> UnableToIssue | None:
    if one.ends_on > today:
        return UnableToIssue(
            f"{one.agreement.site}: the period ends on {one.ends_on}; issue it then or later",
            code="period_not_over",
        )
    for row in issued:
        if row.starts_on < one.ends_on and row.ends_on > one.starts_on:
            return UnableToIssue(
                f"{one.agreement.site}: {row} tells of {row.starts_on} until {row.ends_on}; "
                "correct that one",
                code="already_issued",
            )
    return None


def _statement(one: Preview, number: int, site: Site, actor: Person, now: datetime) -> Statement:
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
        carried=one.owing.corrections,
        carried_over=one.owing.carried_over,
        due=one.due,
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
