"""From a machine's counters to the files that arrive, with what happens to them on the way."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from demo.simulator.cabinet import Cabinet
from demo.simulator.cases import LATE_BY
from demo.simulator.dialects import DIALECTS
from demo.simulator.report import Reading, Source, segments
from demo.simulator.writer import audit_file

_SENDER = "ZZZ0000042"


@dataclass(frozen=True)
class SimulatedFile:
    """One file as it is delivered. `written_at` is true time, whatever the machine's clock says."""

    name: str
    machine_tag: str
    written_at: datetime
    delivered_at: datetime
    data: bytes


@dataclass(frozen=True)
class ReadPlan:
    """A read to be made: by whom, whether it resets, when its file is sent on."""

    at: datetime
    reader: str
    reset: bool
    sent_after: timedelta
    temperature_c: float | None


def read(cabinet: Cabinet, plan: ReadPlan, location: str) -> SimulatedFile:
    """Read the machine once. The counters are reset only when the file has been written."""
    dialect = DIALECTS[cabinet.kind.name]
    shown_at = cabinet.clock.shows(plan.at)
    before = cabinet.board.read(shown_at, plan.reader, reset=plan.reset)
    asset_text = cabinet.case.asset_text
    source = Source(
        machine=cabinet.machine,
        asset_text=cabinet.machine.asset_tag if asset_text is None else asset_text,
        location=location,
        dialect=dialect,
        board=cabinet.board,
        cash=cabinet.cash,
        card_reader=cabinet.card_reader,
        shelves=cabinet.shelves(),
        reading=Reading(
            at=shown_at,
            reader=plan.reader,
            before=before,
            temperature_c=plan.temperature_c,
        ),
    )
    data = audit_file(
        segments(source),
        sender=_SENDER,
        version=dialect.version,
        transmission=1,
        drop_trailing_blanks=dialect.drop_trailing_blanks,
        swap_check=cabinet.case.check_swapped,
    )
    if cabinet.case.line_feeds_only:
        data = data.replace(b"\r\n", b"\n")
    if plan.reset:
        cabinet.reset()
    written_at = cabinet.aware(plan.at)
    return SimulatedFile(
        name=f"{cabinet.machine.asset_tag}-{plan.at:%Y%m%d-%H%M%S}.dts",
        machine_tag=cabinet.machine.asset_tag,
        written_at=written_at,
        delivered_at=written_at + plan.sent_after,
        data=data,
    )


def deliver(file: SimulatedFile, cabinet: Cabinet, days_before: int) -> Iterator[SimulatedFile]:
    """What arrives of a file: mostly itself, once."""
    case = cabinet.case
    if case.damaged == days_before:
        file = replace(file, data=_one_digit_wrong(file.data))
    if case.truncated == days_before:
        file = replace(file, data=file.data[: len(file.data) * 11 // 20])
    if case.sent_late == days_before:
        file = replace(file, delivered_at=file.delivered_at + LATE_BY)
    yield file
    if case.sent_twice == days_before:
        stem = file.name.removesuffix(".dts")
        again = file.delivered_at + timedelta(minutes=40)
        yield replace(file, name=f"{stem}-again.dts", delivered_at=again)


def _one_digit_wrong(data: bytes) -> bytes:
    """Another last digit in the paid count of the first selection; the check is left as it was."""
    found = re.search(rb"\r\nPA2\*\d*(\d)\*", data)
    if found is None:
        raise ValueError("the file has no selection to damage")
    place = found.start(1)
    digit = (int(data[place : place + 1]) + 1) % 10
    return data[:place] + str(digit).encode("ascii") + data[place + 1 :]
