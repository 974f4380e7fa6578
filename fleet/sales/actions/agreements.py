"""Agreements with hosts, and the periods that they have."""

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from django.db import transaction

from fleet.compute.commission import Covered
from people.errors import Unable, Unacceptable
from people.models import Person
from people.rows import put

from ..models import Agreement
from ..terms import kept_of, terms_from


@transaction.atomic
def save_agreement(
    *,
    agreement: Agreement | None,
    changes: Mapping[str, Any],
    actor: Person,
    now: datetime,
) -> Agreement:
    """Keep an agreement. What statements were issued by stands: it can only be ended after them.

    Raises Unacceptable by field, Unable.
    """
    changes = dict(changes)
    if "terms" in changes:
        changes["terms"] = kept_of(terms_from(changes["terms"]))
        # What is not written in terms has its usual meaning; writing it down changes nothing.
        if agreement is not None and changes["terms"] == kept_of(terms_from(agreement.terms)):
            del changes["terms"]
    row = agreement or Agreement()
    if agreement is not None:
        # Statements lock it too, so that none is issued on terms that change meanwhile.
        Agreement.objects.select_for_update(no_key=True, of=("self",)).get(pk=agreement.pk)
        last = agreement.statements.order_by("-ends_on").first()
        changed = {name for name, value in changes.items() if getattr(row, name) != value}
        if last is not None and changed - {"ends_on", "note"}:
            raise Unable(
                f"{last} was issued by these terms; end this agreement on {last.ends_on} or later "
                "and begin another",
                code="statements_issued",
            )
        ends = changes.get("ends_on", row.ends_on)
        if last is not None and ends is not None and ends < last.ends_on:
            message = f"{last} runs until {last.ends_on}; end it then or later"
            raise Unacceptable(f"ends_on: {message}", fields={"ends_on": message})
    return put(row, changes, actor=actor, verb="save agreement", now=now)


def period_of(agreement: Agreement, day: date) -> tuple[date, date]:
    """The period `[starts_on, ends_on)` of an agreement that a day lies in, cut at its ends.

    Raises Unacceptable when it does not hold then.
    """
    if day < agreement.starts_on or (agreement.ends_on is not None and day >= agreement.ends_on):
        message = f"the agreement does not hold on {day}"
        raise Unacceptable(f"day: {message}", fields={"day": message})
    starts, ends = calendar_period(agreement.rhythm, day)
    return (
        max(starts, agreement.starts_on),
        ends if agreement.ends_on is None else min(ends, agreement.ends_on),
    )


def calendar_period(rhythm: str, day: date) -> tuple[date, date]:
    """The calendar month or quarter of a day, its end being the first day after it."""
    months = 1 if rhythm == Agreement.Rhythm.MONTHLY else 3
    first = (day.month - 1) // months * months
    starts = date(day.year, first + 1, 1)
    after = first + months
    return starts, date(day.year + after // 12, after % 12 + 1, 1)


def covered_of(agreement: Agreement, starts_on: date, ends_on: date) -> Covered | None:
    """How much `[starts_on, ends_on)` is of its calendar period; None where it lies in more."""
    first, after = calendar_period(agreement.rhythm, starts_on)
    if not first <= starts_on < ends_on <= after:
        return None
    return Covered((ends_on - starts_on).days, (after - first).days)
