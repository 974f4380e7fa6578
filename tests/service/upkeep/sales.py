"""What machines sold, for plans by vends."""

from datetime import datetime
from itertools import count

from fleet.machines.models import Machine
from fleet.sales.models import AuditRead, MachineInterval

_digests = count(1)


def _read(machine: Machine, at: datetime, place: int) -> AuditRead:
    digest = f"{next(_digests):064x}"
    return AuditRead.objects.create(
        raw=b"",
        sha256=digest,
        block_sha256=digest,
        size=0,
        source="api",
        received_at=at,
        state="accepted",
        verdict="agrees",
        usable_as="whole",
        machine=machine,
        place=place,
        epoch=1,
        taken_at=at,
        bound_at=at,
    )


def interval(machine: Machine, starts: datetime, ends: datetime, units: int) -> MachineInterval:
    """So many paid vends between two reads."""
    place = AuditRead.objects.filter(machine=machine).count()
    return MachineInterval.objects.create(
        machine=machine,
        from_read=_read(machine, starts, place + 1),
        to_read=_read(machine, ends, place + 2),
        starts_at=starts,
        ends_at=ends,
        exponent=2,
        quality="whole",
        sum_agrees=True,
        paid_units=units,
    )
