"""Files as they come in: read, and what they say of themselves. No database here."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from fleet.compute.audit.reader import read_report
from fleet.compute.audit.report import Report
from fleet.compute.intervals.snapshot import Snapshot, snapshot_of

#: What is no audit file at all is turned away; anything that could be a damaged one is kept.
UNREADABLE = frozenset({"empty_file", "too_large", "too_many_lines", "no_audit_data"})


@dataclass(frozen=True, slots=True)
class ReceivedFile:
    """One file as it came. `received_at` (aware) is when it arrived, if that was before now."""

    name: str
    data: bytes
    received_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class ReadFile:
    """A received file, read."""

    name: str
    data: bytes
    report: Report
    snapshot: Snapshot

    @property
    def sha256(self) -> str:
        """Of the whole file; also the name by which the computations know the read."""
        return self.report.sha256

    @property
    def unreadable(self) -> str | None:
        """Why this is no audit file at all, or None."""
        return next((why for why in self.report.usable_why if why in UNREADABLE), None)

    def board_serial(self) -> str | None:
        """The control board's own serial."""
        device = self.report.device("control_board")
        return None if device is None else device.serial


def read_file(file: ReceivedFile, now: datetime) -> ReadFile:
    """Read one file. A moment of arrival in the future is taken for now."""
    received_at = now if file.received_at is None else min(file.received_at, now)
    return read_bytes(file.data, received_at, name=file.name)


def read_bytes(data: bytes, received_at: datetime, name: str = "") -> ReadFile:
    """The same from bytes kept earlier."""
    report = read_report(data)
    return ReadFile(name, data, report, snapshot_of(report, report.sha256, received_at))


def warnings_of(report: Report) -> list[dict[str, Any]]:
    """The warnings of a report as plain values."""
    return [
        {
            "code": warning.code,
            "text": warning.text,
            "where": warning.where,
            "line": warning.line,
            "effect": warning.effect,
        }
        for warning in report.warnings
    ]


_HELD = {
    "check_value_wrong": "Damaged: the check value does not match, some byte was changed.",
    "truncated": "Cut short: it stops mid-product, so figures are missing.",
}


def held_reasons(
    usable_why: Iterable[str], warnings: Iterable[Mapping[str, Any]]
) -> list[dict[str, str]]:
    """Why a damaged read waits, from what it says of itself: code and text of each reason."""
    texts = {warning["code"]: warning["text"] for warning in warnings}
    return [{"code": why, "text": _HELD.get(why) or texts.get(why, why)} for why in usable_why]


def clock_text(report: Report) -> str:
    """The machine's clock as it was sent, or the time of the read where it sent none."""
    for time in (report.clock.time, report.read_info.this_read):
        text = " ".join(part for part in (time.date_text, time.time_text) if part)
        if text:
            return text[:40]
    return ""
