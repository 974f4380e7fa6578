"""Audit files read and told, and nothing kept: for any machine with Python, without a database."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from pydantic import TypeAdapter

from fleet.compute.audit.reader import read_report
from fleet.compute.audit.report import Report

from .files import FoundFile


@dataclass(frozen=True, slots=True)
class FileSaid:
    """One file and all that it says."""

    name: str
    report: Report


_JSON = TypeAdapter(FileSaid)


def schema() -> dict[str, Any]:
    """The JSON Schema of what `as_json` gives: a list of files."""
    return TypeAdapter(list[FileSaid]).json_schema(mode="serialization")


def as_json(files: Iterable[FoundFile], *, segments: bool = False) -> Iterator[str]:
    """A JSON list in pieces, a file at a time. With `segments`, every line as it was read."""
    yield "["
    for index, file in enumerate(files):
        said = FileSaid(file.name, read_report(file.data))
        left_out = None if segments else {"report": {"segments"}}
        yield ("," if index else "") + "\n" + _JSON.dump_json(said, exclude=left_out).decode()
    yield "\n]\n"


def as_text(files: Iterable[FoundFile]) -> Iterator[str]:
    """A few lines a file, for reading."""
    for file in files:
        report = read_report(file.data)
        identity, totals = report.identity, report.totals
        yield f"{file.name}: {report.usable_as}, check value {report.integrity.verdict}\n"
        yield (
            f"  machine {identity.asset or identity.serial or 'not named'}, "
            f"{len(report.selections)} selections, "
            f"{_or_unknown(totals.paid.count_ever)} paid vends ever, "
            f"{_money(totals.paid.value_ever_minor, report)}\n"
        )
        active = [total.event_id for total in report.event_totals if total.active]
        if active:
            yield f"  active events: {', '.join(active)}\n"
        for warning in report.warnings:
            line = "" if warning.line is None else f", line {warning.line}"
            yield f"  {warning.code} ({warning.where}{line}): {warning.text}\n"


def _or_unknown(value: int | None) -> str:
    return "an unknown number of" if value is None else str(value)


def _money(minor: int | None, report: Report) -> str:
    if minor is None:
        return "their money unknown"
    whole, part = divmod(minor, 10**report.currency.decimals)
    places = report.currency.decimals
    amount = f"{whole}.{part:0{places}d}" if places else str(whole)
    return f"{amount} {report.currency.alphabetic or ''}".strip()
