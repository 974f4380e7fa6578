"""The one rule of locking: machines first, in the order of their keys, then reads, then bags.

All that places reads or cuts intervals of a machine holds its lock, so that two files of one
machine follow each other. Waiting longer than the database's lock timeout becomes a clear refusal.
"""

from collections.abc import Iterable

from fleet.machines.models import Machine

from .models import AuditRead, Bag
from .queries.bags import bags_placed


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


def lock_bags(bags: Iterable[Bag]) -> list[Bag]:
    """Bags with their state and amount as they stand now, locked until the transaction ends."""
    keys = {bag.pk for bag in bags}
    rows = Bag.objects.select_for_update(of=("self",), no_key=True).filter(pk__in=keys)
    list(rows.order_by("pk").values_list("pk"))
    # Asked again: a statement that waited for a lock would still see the lines of before.
    return list(bags_placed().select_related("machine").filter(pk__in=keys).order_by("pk"))
