"""What a person decides about a read: whose it is, that it holds all the same, or that it goes."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from fleet.machines.models import Machine
from people import audit
from people.errors import Unable
from people.models import Person

from ..locks import lock_machines, lock_read
from ..models import AuditRead
from ..reading import held_reasons, read_bytes
from ..repeats import known_reads, marks_of
from ..rules import require_reason
from ..settle import DECIDED, Incoming, Settled, settle

#: Reasons to wait that naming the machine answers.
ABOUT_THE_MACHINE = frozenset({"unmatched", "ambiguous", "disagreement"})
_AUDITED = (*DECIDED, "place")


@transaction.atomic
def match(
    *, read: AuditRead, machine: Machine, actor: Person, now: datetime, reason: str
) -> AuditRead:
    """Say which machine a waiting read, or one set aside, came from.

    An undamaged read is accepted with that; a damaged one goes on waiting to be accepted. Raises
    Unable if it is accepted already, Unacceptable without a reason.
    """
    require_reason(reason)
    machine = lock_machines([machine])[machine.pk]
    read = lock_read(read)
    before = audit.values(read, _AUDITED)
    if read.state == AuditRead.State.ACCEPTED:
        raise Unable(
            f"{read} is accepted for {read.machine}; set it aside first, then match it",
            code="read_accepted",
        )
    read.machine, read.matched_by = machine, AuditRead.MatchedBy.PERSON
    read.settled_at, read.settled_by, read.settled_reason = now, actor, reason
    damage = _damage(read)
    if damage:
        read.state, read.waiting = AuditRead.State.WAITING, damage
        read.save(update_fields=list(DECIDED))
    else:
        _accept(read, machine)
    _enter("match read", read, before, actor, now, reason)
    return read


@transaction.atomic
def accept(*, read: AuditRead, actor: Person, now: datetime, reason: str) -> AuditRead:
    """Accept a read in spite of its damage, or one that was set aside.

    Its machine must be known: see `match`. Raises Unable if it is not, if the read is accepted
    already or repeats one that is; Unacceptable without a reason.
    """
    require_reason(reason)
    machine = _lock_machine_of(read)
    read = lock_read(read)
    before = audit.values(read, _AUDITED)
    if read.state == AuditRead.State.ACCEPTED:
        raise Unable(f"{read} is accepted already", code="read_accepted")
    open_question = next((r for r in read.waiting if r["code"] in ABOUT_THE_MACHINE), None)
    if machine is None or read.machine_id != machine.pk or open_question is not None:
        why = f" {open_question['text']}" if open_question else ""
        raise Unable(
            f"{read}: say first which machine it came from.{why}", code="read_without_machine"
        )
    read.settled_at, read.settled_by, read.settled_reason = now, actor, reason
    _accept(read, machine)
    _enter("accept read", read, before, actor, now, reason)
    return read


@transaction.atomic
def set_aside(*, read: AuditRead, actor: Person, now: datetime, reason: str) -> AuditRead:
    """Take a read out of everything; it is kept. Around an accepted one, sales are cut anew.

    Raises Unable if it is set aside already, Unacceptable without a reason.
    """
    require_reason(reason)
    machine = _lock_machine_of(read)
    read = lock_read(read)
    before = audit.values(read, _AUDITED)
    if read.state == AuditRead.State.SET_ASIDE:
        raise Unable(f"{read} is set aside already", code="read_set_aside")
    was_accepted = read.state == AuditRead.State.ACCEPTED
    if was_accepted and (machine is None or read.machine_id != machine.pk):
        raise Unable(
            f"{read}: somebody else decided about it at the same moment; look again",
            code="changed_meanwhile",
        )
    read.state, read.waiting = AuditRead.State.SET_ASIDE, []
    read.settled_at, read.settled_by, read.settled_reason = now, actor, reason
    if was_accepted and machine is not None:
        settle([machine], leaving=[read])
    else:
        read.save(update_fields=list(DECIDED))
    _enter("set read aside", read, before, actor, now, reason)
    return read


def _accept(read: AuditRead, machine: Machine) -> Settled:
    file = read_bytes(bytes(read.raw), read.received_at, read.name)
    known = known_reads({machine.pk}, [file])
    copy = next((known[mark] for mark in marks_of(machine.pk, file) if mark in known), None)
    if copy is not None:
        raise Unable(
            f"{read} repeats read {copy} of {machine}, which is accepted; nothing is missing "
            "without it",
            code="read_repeated",
        )
    read.state, read.waiting = AuditRead.State.ACCEPTED, []
    return settle([machine], incoming=[Incoming(read, file.snapshot, file.report)])


def _damage(read: AuditRead) -> list[dict[str, str]]:
    return held_reasons(read.usable_why, read.warnings) if read.usable_as == "held" else []


def _lock_machine_of(read: AuditRead) -> Machine | None:
    machine = Machine.objects.filter(audit_reads=read.pk).first()
    return None if machine is None else lock_machines([machine])[machine.pk]


def _enter(
    verb: str,
    read: AuditRead,
    before: Mapping[str, Any],
    actor: Person,
    now: datetime,
    reason: str,
) -> None:
    audit.record(
        actor=actor,
        verb=verb,
        row=read,
        now=now,
        before=dict(before),
        after=audit.values(read, _AUDITED),
        reason=reason,
    )
