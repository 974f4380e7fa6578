"""Reads that wait for their machine, matched again once the records say more."""

from datetime import datetime

from django.db import transaction
from django.db.models import Q

from fleet.machines.models import Machine
from people import audit
from people.models import Person

from ..locks import lock_machines
from ..matching import Register, match
from ..models import AuditRead
from ..reading import ReadFile, held_reasons, read_bytes
from ..repeats import known_reads, marks_of
from ..settle import DECIDED, Incoming, settle

_AUDITED = (*DECIDED, "place")
_OPEN = ("unmatched", "ambiguous")
#: Reads in one go; the rest wait for the next.
MOST = 2000


@transaction.atomic
def match_again(*, actor: Person | None, now: datetime) -> tuple[AuditRead, ...]:
    """Match anew every read that waits because no one machine was found; those that found theirs.

    For when a machine is entered, or a serial put right, after its files began to come. An
    undamaged read is accepted with that, a damaged one goes on waiting for that alone. What
    repeats an accepted read stays in the tray.
    """
    files = _waiting()
    register = Register.load(files.values())
    found = {pk: match(file, register) for pk, file in files.items()}
    found = {pk: one for pk, one in found.items() if one.machine is not None and not one.waits}
    machines = lock_machines(one.machine for one in found.values())
    rows = (
        AuditRead.objects.select_for_update(of=("self",))
        # Somebody may have said meanwhile whose a read is; that stands.
        .filter(pk__in=found, state=AuditRead.State.WAITING, machine=None)
        .order_by("pk")
    )
    known = dict(known_reads(set(machines), [files[pk] for pk in found]))
    incoming, changed, before = [], [], {}
    for row in rows:
        file, one = files[row.pk], found[row.pk]
        machine = machines[one.machine.pk] if one.machine else None
        if machine is None:
            continue
        before[row.pk] = audit.values(row, _AUDITED)
        row.machine, row.matched_by = machine, one.by
        if row.usable_as == "held":
            row.waiting = held_reasons(row.usable_why, row.warnings)
            row.save(update_fields=["machine", "matched_by", "waiting"])
            changed.append(row)
            continue
        marks = marks_of(machine.pk, file)
        if any(mark in known for mark in marks):
            continue
        known.update(dict.fromkeys(marks, row.pk))
        row.state, row.waiting = AuditRead.State.ACCEPTED, []
        row.settled_at, row.settled_by = now, actor
        row.settled_reason = "matched again"
        incoming.append(Incoming(row, file.snapshot, file.report))
        changed.append(row)
    settle([machines[pk] for pk in sorted(machines)], incoming=incoming)
    for row in changed:
        audit.record(
            actor=actor,
            verb="match read again",
            row=row,
            now=now,
            before=before[row.pk],
            after=audit.values(row, _AUDITED),
        )
    return tuple(changed)


def _waiting() -> dict[int, ReadFile]:
    """The open reads that some machine's record names now; only they are worth reading again."""
    named = Q(asset_read__in=Machine.objects.values("asset_tag"))
    for read, kept in (("serial_read", "serial"), ("board_serial_read", "board_serial")):
        known = Machine.objects.exclude(**{kept: ""}).values(kept)
        named |= Q(**{f"{read}__in": known})
    rows = AuditRead.objects.filter(
        named, state=AuditRead.State.WAITING, machine=None, waiting__0__code__in=_OPEN
    )
    kept_files = rows.order_by("pk").values_list("pk", "raw", "received_at", "name")[:MOST]
    return {pk: read_bytes(bytes(raw), received, name) for pk, raw, received, name in kept_files}
