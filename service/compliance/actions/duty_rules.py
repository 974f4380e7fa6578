"""The rules that duties come from: taken in from the packs, and kept by the operator."""

from collections.abc import Mapping
from dataclasses import asdict
from datetime import datetime
from typing import Any
from uuid import uuid4

from django.db import transaction

from people import rows
from people.errors import Unacceptable
from people.models import Person
from people.roles import Role

from ..duty_packs import packs
from ..models import DutyRule
from . import duty_turns

MONTHS_OF_A_YEAR = 12


@transaction.atomic
def load_packs(*, actor: Person | None, now: datetime) -> int:
    """Take in the rules of the packs that are not there yet; how many were.

    What the operator changed stays as it is. A pack's own mistake raises Unacceptable.
    """
    known = set(DutyRule.objects.values_list("key", flat=True))
    new = [one for one in packs() if one.key not in known]
    for one in new:
        rows.put(
            DutyRule(made_at=now, origin=DutyRule.Origin.PACK),
            asdict(one),
            actor=actor,
            verb="take in duty rule",
            now=now,
        )
    return len(new)


@transaction.atomic
def save_rule(
    *,
    changes: Mapping[str, Any],
    actor: Person,
    now: datetime,
    rule: DutyRule | None = None,
) -> DutyRule:
    """Make a rule of our own, or change one; the duties it asks for are worked out anew.

    Turns that stand keep the words they were opened with. Raises Unacceptable.
    """
    owner = changes.get("owner")
    require_owner(owner)
    every = changes.get("every_months", rule.every_months if rule else None)
    month_day = changes.get("month_day", rule.month_day if rule else "")
    if month_day and every != MONTHS_OF_A_YEAR:
        message = "a day of the year comes every 12 months; give 12, or leave the day out"
        raise Unacceptable(f"duty rule: {message}", fields={"every_months": message})
    verb = "add duty rule" if rule is None else "change duty rule"
    row = rule or DutyRule(made_at=now, key=f"own-{uuid4().hex[:12]}")
    saved = rows.put(row, changes, actor=actor, verb=verb, now=now)
    duty_turns.work_out(now=now, rules=[saved.pk])
    return saved


def require_owner(owner: Person | None) -> None:
    """Whoever sees to a duty works here and may write it down. Raises Unacceptable."""
    if owner is not None and not owner.has_role(*Role):
        message = f"{owner} holds no role here; choose somebody who does"
        raise Unacceptable(message, fields={"owner": message})
