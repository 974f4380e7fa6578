"""Terminals for cards: hung in a machine, taken down, and entries of them set right."""

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any, Final

from django.db import transaction
from django.db.models import OuterRef, Q, Subquery

from fleet.machines.models import Machine
from people.errors import Unable, Unacceptable
from people.models import Person
from people.rows import put

from ..models import CardTerminal, SettlementLine

CORRECTED: Final = ("code", "machine", "starts_on", "ends_on")
"""What of an entry can have been wrong."""


class UnableToChangeTerminal(Unable):
    code = "unable_to_change_terminal"


@transaction.atomic
def hang_terminal(
    *,
    code: str,
    machine: Machine,
    starts_on: date,
    actor: Person,
    now: datetime,
) -> CardTerminal:
    """Say in which machine a terminal hangs from a day on; it left the one before on that day.

    Lines without a machine find theirs, and where the move is told late, those since that day go
    with it. Raises Unacceptable, Unable.
    """
    before = list(
        CardTerminal.objects.standing()
        .select_for_update(of=("self",), no_key=True)
        .filter(code=code.strip(), ends_on=None, starts_on__lt=starts_on)
    )
    for one in before:
        put(one, {"ends_on": starts_on}, actor=actor, verb="move terminal", now=now)
    row = put(
        CardTerminal(),
        {"code": code.strip(), "machine": machine, "starts_on": starts_on},
        actor=actor,
        verb="hang terminal",
        now=now,
    )
    left = Q(machine=None) | Q(machine__in=[one.machine_id for one in before])
    lines = SettlementLine.objects.filter(left, terminal=row.code, day__gte=row.starts_on)
    lines.update(machine=machine)
    return row


@transaction.atomic
def end_terminal(
    *, terminal: CardTerminal, ends_on: date, actor: Person, now: datetime
) -> CardTerminal:
    """Say that a terminal was taken down; `ends_on` is the first day it hangs there no more.

    Lines of that day and later lose their machine, for nobody knows where they were sold. Raises
    Unacceptable by field, UnableToChangeTerminal.
    """
    held = _standing(terminal)
    if held.ends_on is not None:
        raise UnableToChangeTerminal(
            f"{held} ended on {held.ends_on}; correct the entry if that is wrong", code="ended"
        )
    if ends_on <= held.starts_on:
        message = f"{held} since {held.starts_on}; give a later day, or withdraw the entry"
        raise Unacceptable(f"ends_on: {message}", fields={"ends_on": message})
    row = put(held, {"ends_on": ends_on}, actor=actor, verb="end terminal", now=now)
    _match_again(row.code, ends_on, None)
    return row


@transaction.atomic
def correct_terminal(
    *,
    terminal: CardTerminal,
    changes: Mapping[str, Any],
    why: str,
    actor: Person,
    now: datetime,
) -> CardTerminal:
    """Put a right entry in the place of a wrong one, which stays as evidence; the new one comes
    back. `changes` are what was wrong of `CORRECTED`; nothing for `ends_on` says it hangs still.

    Lines of the days that either tells of find their machine anew. Raises Unacceptable by field,
    Unable where another entry tells of the same days.
    """
    held = _standing(terminal)
    right = {name: changes.get(name, getattr(held, name)) for name in CORRECTED}
    right["code"] = right["code"].strip()
    if all(right[name] == getattr(held, name) for name in CORRECTED):
        raise UnableToChangeTerminal(
            f"nothing of this entry, {held}, would change; say what was wrong", code="no_change"
        )
    _withdraw(held, why, actor, now)
    row = put(CardTerminal(instead_of=held), right, actor=actor, verb="correct terminal", now=now)
    for one in (held, row):
        _match_again(one.code, one.starts_on, one.ends_on)
    return row


@transaction.atomic
def withdraw_terminal(
    *, terminal: CardTerminal, why: str, actor: Person, now: datetime
) -> CardTerminal:
    """Take back an entry that should never have been made; it stays as evidence.

    Raises Unacceptable by field, UnableToChangeTerminal.
    """
    held = _withdraw(_standing(terminal), why, actor, now)
    _match_again(held.code, held.starts_on, held.ends_on)
    return held


def _standing(terminal: CardTerminal) -> CardTerminal:
    held = CardTerminal.objects.select_for_update(of=("self",), no_key=True).get(pk=terminal.pk)
    if held.withdrawn_at is not None:
        raise UnableToChangeTerminal(
            f"this entry, {held}, was withdrawn; change the one that stands", code="withdrawn"
        )
    return held


def _withdraw(held: CardTerminal, why: str, actor: Person, now: datetime) -> CardTerminal:
    if not why.strip():
        message = "say what was wrong"
        raise Unacceptable(f"why: {message}", fields={"why": message})
    given = {"withdrawn_at": now, "withdrawn_why": why.strip()}
    return put(held, given, actor=actor, verb="withdraw terminal", now=now, reason=why.strip())


def _match_again(code: str, since: date, until: date | None) -> None:
    """Give lines of a terminal in `[since, until)` the machine that entries now tell of.

    As when a file is taken in: where no entry stands of a code, it may be a machine's number.
    """
    lines = SettlementLine.objects.filter(terminal=code, day__gte=since)
    if until is not None:
        lines = lines.filter(day__lt=until)
    entries = CardTerminal.objects.standing().filter(code=code)
    if not entries.exists():
        lines.update(machine=Machine.objects.filter(asset_tag=code).first())
        return
    there = entries.filter(
        Q(ends_on__isnull=True) | Q(ends_on__gt=OuterRef("day")), starts_on__lte=OuterRef("day")
    )
    lines.update(machine=Subquery(there.values("machine")[:1]))
