"""Settlements of cards: files taken in by the operator's own columns, whole or not at all."""

import csv
import hashlib
import io
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal, InvalidOperation
from typing import Any, Final

from django.db import transaction

from fleet.machines.models import Machine
from people import bulk
from people.errors import Unable, Unacceptable
from people.models import Business, Person
from people.rows import put

from ..models import CardTerminal, SettlementFile, SettlementLine, SettlementMapping

LARGEST_BYTES: Final = 5_000_000
MOST_ERRORS: Final = 20
ORDERS: Final = {"year_first": "%Y-%m-%d", "month_first": "%m/%d/%Y", "day_first": "%d/%m/%Y"}

READ_BY: Final = (
    *("date_column", "amount_column", "terminal_column", "fee_column", "reference_column"),
    *("day_order", "delimiter", "decimal_mark", "amounts_are_negative", "fees_are_negative"),
)


class TakenInBefore(Unable):
    code = "taken_in_before"


@dataclass(frozen=True)
class _Read:
    row: int
    day: date
    terminal: str
    gross: Decimal
    fee: Decimal
    reference: str


@transaction.atomic
def save_mapping(
    *,
    mapping: SettlementMapping | None,
    changes: Mapping[str, Any],
    actor: Person,
    now: datetime,
) -> SettlementMapping:
    """Keep which column says what. What was taken in stays as it was read; later files are read
    by the change. Raises Unacceptable by field, Unable.
    """
    row = mapping or SettlementMapping()
    return put(row, changes, actor=actor, verb="save columns of settlements", now=now)


@transaction.atomic
def take_in(
    *, name: str, raw: bytes, mapping: SettlementMapping, actor: Person, now: datetime
) -> SettlementFile:
    """Take a file in, all lines or none. Raises Unacceptable with each wrong line, TakenInBefore.

    A line's machine is the one its terminal hung in on the day, or the one of that number; a line
    without a machine is kept and listed as such. The file keeps the mapping that it was read by.
    """
    digest = hashlib.sha256(raw).hexdigest()
    if len(raw) > LARGEST_BYTES:
        message = f"the file has {len(raw)} bytes; hand it in in parts of {LARGEST_BYTES} at most"
        raise Unacceptable(f"file: {message}", fields={"file": message})
    _require_new(digest)
    lines = _lines(raw, mapping)
    try:
        file = put(
            SettlementFile(
                raw=raw, sha256=digest, loaded_at=now, by=actor, columns=columns_of(mapping)
            ),
            {"name": name[:200] or "settlements", "mapping": mapping},
            actor=actor,
            verb="take in settlements",
            now=now,
        )
    except Unacceptable:
        # Somebody else may have taken in the same file meanwhile.
        _require_new(digest)
        raise
    hung: dict[str, list[CardTerminal]] = {}
    codes = {one.terminal for one in lines}
    for terminal in CardTerminal.objects.standing().filter(code__in=codes).order_by("pk"):
        hung.setdefault(terminal.code, []).append(terminal)
    tags = dict(Machine.objects.filter(asset_tag__in=codes).values_list("asset_tag", "pk"))
    bulk.write(
        [
            SettlementLine(
                file=file,
                row=one.row,
                machine_id=_machine(one, hung.get(one.terminal, []), tags),
                terminal=one.terminal,
                day=one.day,
                gross=one.gross,
                fee=one.fee,
                net=one.gross - one.fee,
                reference=one.reference,
            )
            for one in lines
        ]
    )
    return file


def columns_of(mapping: SettlementMapping) -> dict[str, Any]:
    """What of a mapping decides how a file is read, as JSON."""
    return {name: getattr(mapping, name) for name in READ_BY}


def _require_new(digest: str) -> None:
    was = SettlementFile.objects.filter(sha256=digest).defer("raw").first()
    if was is not None:
        day = Business.the().day_of(was.loaded_at)
        raise TakenInBefore(f"{was} was taken in on {day}, and is the same file")


def _machine(line: _Read, hung: list[CardTerminal], tags: Mapping[str, int]) -> int | None:
    for one in hung:
        if one.starts_on <= line.day and (one.ends_on is None or line.day < one.ends_on):
            return one.machine_id
    return None if hung else tags.get(line.terminal)


def _lines(raw: bytes, mapping: SettlementMapping) -> list[_Read]:
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        message = f"byte {error.start} is not UTF-8; save the file as CSV in UTF-8"
        raise Unacceptable(f"file: {message}", fields={"file": message}) from error
    reader = csv.DictReader(io.StringIO(text, newline=""), delimiter=mapping.delimiter)
    head = [name.strip() for name in reader.fieldnames or []]
    reader.fieldnames = head
    wanted = {
        mapping.date_column,
        mapping.amount_column,
        mapping.terminal_column,
        mapping.fee_column,
        mapping.reference_column,
    } - {""}
    missing = sorted(wanted - set(head))
    if missing:
        message = f"has no column {', '.join(missing)}; its head is {', '.join(head) or 'empty'}"
        raise Unacceptable(f"line 1: {message}", fields={"file": f"line 1 {message}"})
    found: list[_Read] = []
    wrong: dict[str, str] = {}
    for cells in reader:
        if not any((value or "").strip() for value in cells.values() if isinstance(value, str)):
            continue
        try:
            found.append(_line(reader.line_num, cells, mapping))
        except ValueError as error:
            wrong[f"line {reader.line_num}"] = str(error)
        if len(wrong) == MOST_ERRORS:
            break
    if not found and not wrong:
        wrong["line 2"] = "there is no line under the head"
    if wrong:
        said = "; ".join(f"{line}: {text}" for line, text in wrong.items())
        raise Unacceptable(f"nothing was taken in: {said}", fields={"file": said})
    return found


def _line(row: int, cells: Mapping[str, str | None], mapping: SettlementMapping) -> _Read:
    def cell(name: str) -> str:
        return (cells.get(name) or "").strip()

    written = cell(mapping.date_column)
    try:
        day = datetime.strptime(written, ORDERS[mapping.day_order]).date()  # noqa: DTZ007 - a day
    except ValueError as error:
        like = mapping.get_day_order_display()
        raise ValueError(f"{mapping.date_column}: {written!r} is no day like {like}") from error
    gross = _amount(mapping.amount_column, cell(mapping.amount_column), mapping.decimal_mark)
    fee = Decimal(0)
    if mapping.fee_column:
        fee = _amount(mapping.fee_column, cell(mapping.fee_column) or "0", mapping.decimal_mark)
    terminal = cell(mapping.terminal_column)
    if not 0 < len(terminal) <= 60:
        raise ValueError(f"{mapping.terminal_column}: give 1 to 60 characters")
    return _Read(
        row,
        day,
        terminal,
        -gross if mapping.amounts_are_negative else gross,
        -fee if mapping.fees_are_negative else fee,
        cell(mapping.reference_column)[:100] if mapping.reference_column else "",
    )


def _amount(column: str, written: str, mark: str) -> Decimal:
    apart = "," if mark == "." else "."
    plain = written.replace(" ", "").replace("\u00a0", "").replace(apart, "").replace(mark, ".")
    try:
        amount = Decimal(plain)
    except InvalidOperation as error:
        raise ValueError(f"{column}: {written!r} is no amount") from error
    places = Business.the().currency_exponent
    if not amount.is_finite() or abs(amount) >= Decimal(10) ** 9:
        raise ValueError(f"{column}: {written!r} is no amount that a settlement can have")
    if amount != round(amount, places):
        raise ValueError(f"{column}: {written!r} has more than {places} decimals")
    return amount
