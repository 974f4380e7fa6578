"""Whether a read is here already, whatever way it came: by its block of data or its own words."""

from collections.abc import Collection, Iterable

from .models import AuditRead
from .order import second_key
from .reading import ReadFile


def marks_of(machine_id: int, file: ReadFile) -> tuple[object, ...]:
    """By what a read is known again whatever way it comes."""
    second = second_key(file.snapshot)
    block = (machine_id, file.report.block_sha256)
    return (block,) if second is None else (block, (machine_id, second))


def known_reads(machine_ids: Collection[int], files: Iterable[ReadFile]) -> dict[object, int]:
    """Accepted reads of the machines by the marks that any of the files could share."""
    told = [file.snapshot for file in files]
    blocks = {snapshot.block_sha256 for snapshot in told}
    times = {snapshot.this_read_at for snapshot in told} - {None}
    rows = AuditRead.objects.filter(machine__in=machine_ids, state=AuditRead.State.ACCEPTED)
    columns = ("pk", "machine_id")
    known: dict[object, int] = {
        (machine_id, block): pk
        for pk, machine_id, block in rows.filter(block_sha256__in=blocks).values_list(
            *columns, "block_sha256"
        )
    }
    fields = ("this_read_at", "reads_counter", "paid_count", "paid_minor", "board_serial_read")
    for pk, machine_id, at, reads, count, minor, board in rows.filter(
        this_read_at__in=times
    ).values_list(*columns, *fields):
        known[machine_id, (at, reads, count, minor, board or None)] = pk
    return known
