"""Money back: asked for with a ticket, paid or refused, within limits against abuse."""

from datetime import datetime, timedelta
from decimal import Decimal

from django.db import transaction
from django.db.models import Count, Q, QuerySet, Sum
from django.utils.crypto import salted_hmac

from fleet.machines.actions.holdings import require_money
from fleet.sales.actions.floats import move_float
from fleet.sales.models import HostFloatLine
from fleet.sales.queries.floats import has_float
from people import currency, rows
from people.errors import Unable, Unacceptable
from people.models import Business, Person
from people.roles import Role

from .. import writing
from ..models import Refund, ServiceSettings, Ticket
from ..models.settings import LIMIT_DAYS
from ..states import Verb
from .errors import OverLimit, moment

MOST = Decimal(1000)
"""More than any machine takes for one product; a slip of the hand."""


@transaction.atomic
def ask(
    *,
    ticket: Ticket,
    amount: Decimal,
    method: str,
    actor: Person | None,
    now: datetime,
    seen_version: int | None = None,
) -> Refund:
    """Note that a customer is to have so much back. `actor` None: the customer asked.

    One that passes a limit is noted all the same, with the limit; the owner decides. Raises
    Unacceptable, ChangedMeanwhile, NotYours.
    """
    row = writing.held(ticket, Verb.REFUND, seen_version=seen_version)
    writing.require_part(row, actor)
    _require_amount(row, amount)
    digest = contact_digest(row.contact_reach)
    refund = rows.put(
        Refund(ticket=row, wanted_at=now, asked_by=actor, contact_digest=digest),
        {
            "amount": amount,
            "method": method,
            "over_limit": _passed(
                amount, digest, row, Refund.objects.exclude(state=Refund.State.REFUSED), now
            ),
        },
        actor=actor,
        verb="ask for refund",
        now=now,
    )
    said = f"of {currency.said(amount, Business.the())} asked for, {refund.get_method_display()}"
    data = {"refund": refund.pk}
    writing.write(row, Verb.REFUND, {}, actor=actor, now=now, said=said, data=data)
    return refund


@transaction.atomic
def pay(
    *, refund: Refund, actor: Person, now: datetime, paid_out_by: str = "", reason: str = ""
) -> Refund:
    """Note that the customer got the money back, and from whom.

    In cash where the host keeps a float, it comes out of that float by a line that names it. Beyond
    a limit only the owner pays, with a reason. Raises OverLimit, Unable, Unacceptable.
    """
    row, ticket = _asked(refund)
    # One after the other: two payments at once must not each see room below the limit.
    ServiceSettings.the()
    ServiceSettings.objects.select_for_update(no_key=True).get(pk=1)
    paid = Refund.objects.filter(state=Refund.State.PAID)
    over = _passed(row.amount, row.contact_digest, ticket, paid, now)
    if over:
        if not actor.has_role(Role.OWNER):
            raise OverLimit(f"{row}: {over}; the owner decides")
        writing.require_said(reason)
    changes = {
        "state": Refund.State.PAID,
        "ended_at": now,
        "ended_by": actor,
        "paid_out_by": paid_out_by.strip(),
        "reason": reason.strip(),
        "over_limit": over or row.over_limit,
    }
    site = ticket.site
    if row.method == Refund.Method.CASH and site is not None and has_float(site):
        move_float(
            site=site,
            what=HostFloatLine.What.REFUND,
            amount=row.amount,
            at=now,
            reference=f"refund of {ticket.reference}",
            actor=actor,
            now=now,
        )
    return _end(row, ticket, changes, "paid", actor=actor, now=now, reason=reason.strip())


@transaction.atomic
def refuse(*, refund: Refund, reason: str, actor: Person, now: datetime) -> Refund:
    """The customer gets nothing back, and why. Raises Unable, Unacceptable."""
    why = writing.require_said(reason)
    row, ticket = _asked(refund)
    changes = {
        "state": Refund.State.REFUSED,
        "ended_at": now,
        "ended_by": actor,
        "reason": why,
    }
    return _end(row, ticket, changes, "refused", actor=actor, now=now, reason=why)


def contact_digest(reach: str) -> str:
    """Tells the same customer again without saying who it is; empty when none is named.

    A telephone number is the same however it is written, an address whatever its capitals.
    """
    clean = "".join(reach.split()).casefold()
    digits = "".join(sign for sign in clean if sign.isdigit())
    if "@" not in clean and len(digits) >= 7 and not any(sign.isalpha() for sign in clean):
        clean = digits
    if not clean:
        return ""
    return salted_hmac("service.tickets.refunds", clean, algorithm="sha256").hexdigest()


def _require_amount(row: Ticket, amount: Decimal) -> None:
    if row.paid_how == Ticket.Paid.FREE:
        message = f"nothing was paid by the report {row.reference}; there is nothing to give back"
        raise Unacceptable(message, fields={"amount": message})
    if not amount.is_finite() or not 0 < amount <= MOST:
        message = f"give an amount above 0 and up to {MOST}"
        raise Unacceptable(f"amount: {message}", fields={"amount": message})
    require_money(amount, "amount")


def _passed(
    amount: Decimal, digest: str, ticket: Ticket, refunds: "QuerySet[Refund]", now: datetime
) -> str:
    """The limit that one more refund of `amount` would pass, in words; empty when none."""
    limits = ServiceSettings.the()
    since = now - timedelta(days=LIMIT_DAYS)
    recent = refunds.filter(Q(ended_at__gte=since) | Q(ended_at__isnull=True, wanted_at__gte=since))
    checks = [
        (
            "at this machine",
            recent.filter(ticket__machine=ticket.machine_id),
            limits.refund_amount_machine,
            limits.refund_times_machine,
        )
    ]
    if digest:
        checks.insert(
            0,
            (
                "to this contact",
                recent.filter(contact_digest=digest),
                limits.refund_amount_contact,
                limits.refund_times_contact,
            ),
        )
    business = Business.the()
    for where, found, most, often in checks:
        so_far = found.aggregate(amount=Sum("amount"), times=Count("pk"))
        times, total = so_far["times"] + 1, (so_far["amount"] or Decimal(0)) + amount
        if times > often:
            return f"number {times} {where} in {LIMIT_DAYS} days, {often} is the limit"
        if total > most:
            return (
                f"{currency.said(total, business)} {where} in {LIMIT_DAYS} days, "
                f"{currency.said(most, business)} is the limit"
            )
    return ""


def _asked(refund: Refund) -> tuple[Refund, Ticket]:
    # The ticket first, as `ask` does.
    ticket = writing.locked(refund.ticket)
    row = Refund.objects.select_for_update(no_key=True, of=("self",)).get(pk=refund.pk)
    row.ticket = ticket
    if row.state != Refund.State.ASKED:
        when = moment(row.ended_at, ticket) if row.ended_at else "before"
        raise Unable(
            f"{row} was {row.get_state_display()} by {row.ended_by} at {when}",
            code="refund_ended",
        )
    return row, ticket


def _end(
    row: Refund,
    ticket: Ticket,
    changes: dict[str, object],
    word: str,
    *,
    actor: Person,
    now: datetime,
    reason: str,
) -> Refund:
    done = rows.put(
        row,
        changes,
        actor=actor,
        verb="pay refund" if word == "paid" else "refuse refund",
        now=now,
        reason=reason,
    )
    said = f"of {currency.said(row.amount, Business.the())} {word}{f': {reason}' if reason else ''}"
    data = {"refund": row.pk}
    writing.write(ticket, Verb.REFUND, {}, actor=actor, now=now, said=said, data=data)
    return done
