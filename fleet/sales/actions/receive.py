"""Audit files come in: each is read, matched and placed, and sales are cut, or it waits."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from hashlib import sha256

from django.db import IntegrityError, transaction

from fleet.machines.models import Machine
from people import audit, bulk
from people.models import AuditEntry, Person

from ..locks import lock_machines
from ..matching import Match, Register, Remark, match
from ..models import AuditRead
from ..outcome import Outcome, Result
from ..reading import ReadFile, ReceivedFile, clock_text, held_reasons, read_file, warnings_of
from ..repeats import known_reads, marks_of
from ..settle import Incoming, Settled, settle

__all__ = ["Outcome", "ReceivedFile", "Result", "receive"]

_UNREADABLE = {
    "empty_file": "The file is empty.",
    "too_large": "The file is larger than 1 MiB; no audit file is.",
    "too_many_lines": "The file has more than 20,000 lines; no audit file has.",
    "no_audit_data": "The file holds nothing of the audit standard.",
}


def receive(
    *,
    files: Sequence[ReceivedFile],
    source: str,
    actor: Person | None,
    now: datetime,
    machine: Machine | None = None,
) -> tuple[Outcome, ...]:
    """Take in audit files, all in one transaction; one outcome for each, in their order.

    The same file twice, or the same read by two routes, changes nothing and says so. A file that
    cannot be matched to one machine, that says otherwise than `machine`, or that is damaged, waits
    in the tray. What is no audit file at all is turned away. Never raises for any bytes.
    """
    try:
        return _take_in(files, source, actor, now, machine)
    except IntegrityError:
        # Another door took in one of these very files at the same moment; look once more, and its
        # read is there to be found.
        return _take_in(files, source, actor, now, machine)


def _take_in(
    files: Sequence[ReceivedFile],
    source: str,
    actor: Person | None,
    now: datetime,
    chosen: Machine | None,
) -> tuple[Outcome, ...]:
    """What is here already is not even read, so that a whole archive handed in again is quick."""
    marks = [sha256(file.data).hexdigest() for file in files]
    stored = _stored(marks)
    first: dict[str, int] = {}
    for index, mark in enumerate(marks):
        first.setdefault(mark, index)
    fresh = [index for mark, index in first.items() if mark not in stored]
    read = [read_file(files[index], now) for index in fresh]
    found = dict(
        zip(fresh, _receive(read, source, actor, now, chosen) if read else (), strict=True)
    )
    outcomes = []
    for index, (file, mark) in enumerate(zip(files, marks, strict=True)):
        if index in found:
            outcomes.append(found[index])
        elif mark in stored:
            outcomes.append(_this_very_file(file.name, mark, *stored[mark]))
        else:
            read_id = found[first[mark]].read_id
            outcomes.append(_repeats(file.name, mark, read_id, "a file handed in with it"))
    return tuple(outcomes)


def _stored(marks: Sequence[str]) -> dict[str, tuple[int, str]]:
    """Key and state of the reads with these SHA-256."""
    rows = AuditRead.objects.filter(sha256__in=marks).values_list("sha256", "pk", "state")
    return {mark: (pk, state) for mark, pk, state in rows}


@dataclass(slots=True)
class _Batch:
    """Files on their way in: outcomes by index, and what is to be written."""

    outcomes: dict[int, Outcome]
    matches: dict[int, Match]
    rows: dict[int, AuditRead]


@transaction.atomic
def _receive(
    files: Sequence[ReadFile],
    source: str,
    actor: Person | None,
    now: datetime,
    chosen: Machine | None,
) -> tuple[Outcome, ...]:
    batch = _Batch({}, {}, {})
    for index, file in enumerate(files):
        if file.unreadable is not None:
            batch.outcomes[index] = _unreadable(file)
    open_files = {i: file for i, file in enumerate(files) if i not in batch.outcomes}
    register = Register.load(open_files.values())
    for index, file in open_files.items():
        batch.matches[index] = match(file, register, chosen)
    machines = lock_machines(found.machine for found in batch.matches.values())
    _find_repeated(batch, open_files)
    for index, file in open_files.items():
        if index not in batch.outcomes:
            batch.rows[index] = _row(file, batch.matches[index], source, actor)
    bulk.reserve(list(batch.rows.values()))
    accepted = {i: row for i, row in batch.rows.items() if row.state == AuditRead.State.ACCEPTED}
    settled = settle(
        [machines[pk] for pk in sorted({row.machine_id or 0 for row in accepted.values()})],
        incoming=[
            Incoming(row, files[index].snapshot, files[index].report)
            for index, row in accepted.items()
        ],
    )
    bulk.copy([row for index, row in batch.rows.items() if index not in accepted])
    _leave_entries(batch.rows.values(), actor, now)
    for index, row in batch.rows.items():
        batch.outcomes[index] = _outcome(row, files[index], batch.matches[index], settled)
    return tuple(batch.outcomes[index] for index in range(len(files)))


def _find_repeated(batch: _Batch, files: Mapping[int, ReadFile]) -> None:
    """Files or reads that are here already, or read twice in this batch: nothing is written."""
    stored = _stored([file.sha256 for file in files.values()])
    machine_ids = {found.machine.pk for found in batch.matches.values() if found.machine}
    known = known_reads(machine_ids, files.values())
    first: dict[object, int] = {}
    for index, file in files.items():
        if file.sha256 in stored:
            batch.outcomes[index] = _this_very_file(file.name, file.sha256, *stored[file.sha256])
            continue
        found = batch.matches[index]
        if found.machine is None or found.waits:
            continue
        marks = marks_of(found.machine.pk, file)
        copy = next((known[mark] for mark in marks if mark in known), None)
        if _damaged(file):
            if copy is not None:
                text = f"It looks like a damaged copy of read {copy}, which is accepted."
                batch.matches[index] = replace(found, waits=(Remark("copy_of_read", text),))
            continue
        if copy is not None:
            batch.outcomes[index] = _repeats(
                file.name, file.sha256, copy, "the same read, by another route"
            )
            continue
        if any(mark in first for mark in marks):
            batch.outcomes[index] = _repeats(
                file.name, file.sha256, None, "the same read, handed in with it"
            )
            continue
        first.update(dict.fromkeys(marks, index))


def _damaged(file: ReadFile) -> bool:
    return file.report.usable_as == "held"


def _row(file: ReadFile, found: Match, source: str, actor: Person | None) -> AuditRead:
    report, snapshot = file.report, file.snapshot
    waits = [remark.plain() for remark in found.waits]
    warnings = warnings_of(report)
    if _damaged(file):
        waits += held_reasons(report.usable_why, warnings)
    warnings += [
        {**remark.plain(), "where": "file", "line": None, "effect": "check"}
        for remark in found.warnings
    ]
    identity = report.identity
    return AuditRead(
        raw=file.data,
        sha256=file.sha256,
        block_sha256=report.block_sha256,
        name="".join(c for c in file.name if c.isprintable())[-200:],
        size=len(file.data),
        source=source,
        received_at=snapshot.received_at,
        received_by=actor,
        state=AuditRead.State.WAITING if waits else AuditRead.State.ACCEPTED,
        waiting=waits,
        verdict=report.integrity.verdict,
        usable_as=report.usable_as,
        usable_why=list(report.usable_why),
        warnings=warnings,
        asset_read=identity.asset or "",
        serial_read=identity.serial or "",
        board_serial_read=file.board_serial() or "",
        location_read=identity.location or "",
        currency=report.currency.alphabetic or "",
        exponent=report.currency.decimals,
        machine=found.machine,
        matched_by=found.by,
        clock_text=clock_text(report),
        clock_at=snapshot.machine_clock,
        clock_follows_summer_time=snapshot.clock_follows_summer_time,
        this_read_at=snapshot.this_read_at,
        initialised_at=snapshot.initialised_at,
        reads_counter=snapshot.reads_counter,
        paid_count=snapshot.total("paid_count"),
        paid_minor=snapshot.total("paid_value_minor"),
    )


def _leave_entries(rows: Iterable[AuditRead], actor: Person | None, now: datetime) -> None:
    """One short entry a read; what it says stands in its own row."""
    entries = [
        AuditEntry(
            **audit.entry_values(
                actor=actor,
                verb="receive read",
                row=row,
                now=now,
                after={"state": row.state, "machine": row.machine_id, "source": row.source},
            )
        )
        for row in rows
    ]
    bulk.reserve(entries)
    bulk.copy(entries)


def _unreadable(file: ReadFile) -> Outcome:
    said = next(_UNREADABLE[why] for why in file.report.usable_why if why in _UNREADABLE)
    return Outcome(
        file.name,
        file.sha256,
        Result.UNREADABLE,
        f"{said} Nothing was kept.",
        warnings=tuple(warnings_of(file.report)),
    )


def _this_very_file(name: str, sha256: str, read_id: int, state: str) -> Outcome:
    said = AuditRead.State(state).label
    return _repeats(name, sha256, read_id, f"this very file; it is {said}")


def _repeats(name: str, sha256: str, read_id: int | None, what: str) -> Outcome:
    which = "" if read_id is None else f" as read {read_id}"
    return Outcome(
        name,
        sha256,
        Result.DUPLICATE,
        f"Here already{which}: {what}. Nothing was changed.",
        read_id=read_id,
    )


def _outcome(row: AuditRead, file: ReadFile, found: Match, settled: Settled) -> Outcome:
    intervals = settled.of_read(row.pk)
    if row.state == AuditRead.State.ACCEPTED:
        said = f"Read {row.pk} of {found.machine}: {len(intervals)} intervals were cut."
        if len(intervals) == 1:
            said = f"Read {row.pk} of {found.machine}: one interval was cut."
        if not intervals:
            said = f"Read {row.pk} of {found.machine}, its first: sales are told from the next on."
    else:
        reasons = " ".join(reason["text"] for reason in row.waiting)
        said = f"Read {row.pk} waits for a person. {reasons}"
    return Outcome(
        name=file.name,
        sha256=row.sha256,
        result=Result(row.state),
        said=said,
        read_id=row.pk,
        machine_id=row.machine_id,
        machine=None if found.machine is None else found.machine.asset_tag,
        matched_by=row.matched_by,
        warnings=tuple(row.warnings),
        waiting=tuple(row.waiting),
        interval_ids=intervals,
    )
