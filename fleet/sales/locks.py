"""The one rule of locking: machines first, in the order of their keys, then reads.

All that places reads or cuts intervals of a machine holds its lock, so that two files of one
machine follow each other. Waiting longer than the database's lock timeout becomes a clear refusal.
"""

from collections.abc import Iterable

from fleet.machines.models import Machine

from .models import AuditRead


def lock_machines(machines: Iterable[Machine | None]) -> dict[int, Machine]:
    """Lock the machines until the transaction ends; rows that name them may still be written."""
    keys = {machine.pk for machine in machines if machine is not None}
    rows = Machine.objects.select_for_update(of=("self",), no_key=True).filter(pk__in=keys)
    return {row.pk: row for row in rows.order_by("pk")}


def lock_read(read: AuditRead) -> AuditRead:
    """The read as it stands now, locked until the transaction ends."""
    return (
        AuditRead.objects.select_for_update(of=("self",)).select_related("machine").get(pk=read.pk)
    )
