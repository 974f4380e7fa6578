"""Decals that stand for sales tax: a duty for each machine while a rule of tax goes by them."""

from collections.abc import Iterable
from dataclasses import asdict
from datetime import datetime
from typing import Any, Final

from people import rows
from people.models import Person
from service.compute.tax.rules import Rule, Shape

from ..duty_packs import packs
from ..models import DutyRule, TaxRule
from ..models.duties import DutyKind, Subject
from ..queries.decals import duty_key
from . import duty_turns

A_YEAR: Final = 12


def settle(*, states: Iterable[str], actor: Person, now: datetime) -> list[DutyRule]:
    """Ask for decals where a rule of tax in force goes by them, and no more where none does.

    The duty is that of the pack, or one of our own by the rule's source; what the operator changed
    on it (owner, notice, words) stays. Within the transaction of whoever changes a rule of tax.
    """
    settled = []
    for state in sorted(set(states)):
        goes_by = _rule_of(state)
        row = DutyRule.objects.filter(key=duty_key(state)).first()
        if row is None and goes_by is None:
            continue
        if row is None and goes_by is not None:
            row = rows.put(
                DutyRule(made_at=now),
                _asked(state, goes_by),
                actor=actor,
                verb="take in duty rule",
                now=now,
                reason=f"{goes_by.key} goes by a decal",
            )
        elif row is not None and row.active is (goes_by is None):
            why = f"{goes_by.key} goes by a decal" if goes_by else "no rule goes by a decal"
            row = rows.put(
                row,
                {"active": goes_by is not None},
                actor=actor,
                verb="change duty rule",
                now=now,
                reason=why,
            )
        if row is not None:
            duty_turns.work_out(now=now, rules=[row.pk])
            settled.append(row)
    return settled


def _rule_of(state: str) -> Rule | None:
    """A rule of tax of the state, in force, that goes by a decal; the dearest."""
    found = [
        row.rule
        for row in TaxRule.objects.filter(
            state=state,
            replaced_by__isnull=True,
            removed_at__isnull=True,
            data__shape=str(Shape.DECAL),
        )
    ]
    return max(found, key=lambda rule: (rule.decal or 0, rule.key), default=None)


def _asked(state: str, rule: Rule) -> dict[str, Any]:
    """The columns of the duty: as the pack has it, else by the rule of tax."""
    for one in packs():
        if one.key == duty_key(state):
            return asdict(one) | {"active": True, "origin": DutyRule.Origin.PACK}
    return {
        "key": duty_key(state),
        "kind": DutyKind.DECAL,
        "subject": Subject.MACHINE,
        "state": state,
        "title": "Yearly decal in lieu of sales tax",
        "said": f"{rule.title}: a decal on each machine stands for the tax.",
        "authority": "The revenue authority of the state",
        "citation": rule.citation,
        "status": str(rule.status),
        "every_months": A_YEAR,
        "origin": DutyRule.Origin.OWN,
    }
