"""Tables as files for a spreadsheet: CSV (RFC 4180) and XLSX (ISO/IEC 29500), for either door.

A cell of text is never a formula. Whoever names a product `=1+1` must not run anything on the desk
of the person who opens the file: in XLSX such a cell is marked as text; in CSV, which knows no
marks, a spreadsheet would guess, so an apostrophe stands before a text that begins like a formula
(advice of OWASP on CSV injection). Figures are figures in both, and keep their minus sign.
"""

import csv
import io
import itertools
import re
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from enum import StrEnum
from typing import TypeVar
from zoneinfo import ZoneInfo

from django.db.models import Model, QuerySet
from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE
from openpyxl.styles import Alignment, Font
from openpyxl.utils import get_column_letter

from .errors import Unacceptable
from .models import Business

Row = TypeVar("Row", bound=Model)
Cell = str | int | float | Decimal | bool | date | datetime | None

BEGINS_A_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")
"""Also the full-width forms, which some spreadsheets take for the plain ones."""
MOST_ROWS = 100_000
"""As much as a desk opens; a sheet of XLSX ends at 1,048,576 rows (ECMA-376)."""
LONGEST_TEXT = 32_767  # characters in one cell of XLSX, by its makers' limits
NARROWEST, WIDEST = 8, 60
FINEST_PLACES = 6
"""As finely as an amount is kept: the cost of a unit, to a millionth."""
NO_SHEET_NAME = re.compile(r"[\[\]:*?/\\]")


class Format(StrEnum):
    CSV = "csv"
    XLSX = "xlsx"


MEDIA_TYPES = {
    Format.CSV: "text/csv; charset=utf-8; header=present",
    Format.XLSX: "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}


@dataclass(frozen=True)
class Table:
    """What a list says, before anybody asks in which form.

    `name` becomes the file's name and the sheet's. Moments are written in `zone`, which in XLSX
    (whose moments know no offset) stands in the head of their columns. `money` names the columns
    of amounts, which have the decimals of the currency, and more only where an amount has more.
    """

    name: str
    head: Sequence[str]
    rows: Iterable[Sequence[Cell]]
    zone: ZoneInfo
    money: Collection[str] = ()

    @property
    def amounts(self) -> frozenset[int]:
        """The places of the columns of money."""
        return frozenset(n for n, name in enumerate(self.head) if name in self.money)


@dataclass(frozen=True)
class File:
    """A table written down."""

    name: str
    media_type: str
    content: bytes

    @property
    def headers(self) -> dict[str, str]:
        """What an answer that carries it says of it."""
        return {"Content-Disposition": f'attachment; filename="{self.name}"'}


def as_file(table: Table, form: Format | str) -> File:
    """The table in one of the forms.

    Raises Unacceptable for a form that is not known and for more than MOST_ROWS rows.
    """
    if form not in set(Format):
        known = ", ".join(Format)
        raise Unacceptable(
            f"{form}: unknown form of a file; known are {known}",
            fields={"as": f"unknown; known are {known}"},
        )
    form = Format(form)
    content = _csv(table) if form is Format.CSV else _xlsx(table)
    plain = re.sub(r"[^a-z0-9]+", "-", table.name.lower()).strip("-") or "table"
    return File(f"{plain}.{form}", MEDIA_TYPES[form], content)


def _csv(table: Table) -> bytes:
    """Lines end in CR LF and a quote inside is doubled (RFC 4180), in UTF-8 without a mark.

    The mark would become part of the first column's name for every program that reads the file.
    """
    out = io.StringIO(newline="")
    lines = csv.writer(out, lineterminator="\r\n")
    lines.writerow([_in_csv(name, table.zone) for name in table.head])
    amounts, places = table.amounts, _places(table)
    for row in _counted(table.rows):
        lines.writerow(
            [
                _amount(cell, places) if n in amounts else _in_csv(cell, table.zone)
                for n, cell in enumerate(row)
            ]
        )
    return out.getvalue().encode()


def _places(table: Table) -> int:
    return Business.the().currency_exponent if table.money else 0


def _amount(cell: Cell, places: int) -> str:
    """An amount with the decimals of the currency, and more where it is finer than that."""
    if not isinstance(cell, Decimal | int) or isinstance(cell, bool):
        return "" if cell is None else str(cell)
    figures = f"{Decimal(cell):.{FINEST_PLACES}f}"
    whole, _, decimals = figures.partition(".")
    kept = decimals.rstrip("0").ljust(places, "0")
    return f"{whole}.{kept}" if kept else whole


def _in_csv(cell: Cell, zone: ZoneInfo) -> str:
    match cell:
        case None:
            return ""
        case bool():
            return "yes" if cell else "no"
        case datetime():
            return cell.astimezone(zone).isoformat(timespec="seconds")
        case date():
            return cell.isoformat()
        case Decimal():
            return f"{cell:f}"
        case str():
            # A NUL ends the text for some readers; no list of ours can hold one that matters.
            text = cell.replace("\0", "\ufffd")
            return f"'{text}" if text.lstrip(" ").startswith(BEGINS_A_FORMULA) else text
        case _:
            return str(cell)


def _xlsx(table: Table) -> bytes:
    book = Workbook(write_only=True)
    sheet = book.create_sheet(NO_SHEET_NAME.sub(" ", table.name)[:31] or "table")
    rows = _counted(table.rows)
    first = list(itertools.islice(rows, 200))
    moments = {n for row in first for n, cell in enumerate(row) if isinstance(cell, datetime)}
    head = [
        f"{name} ({table.zone.key})" if n in moments else name for n, name in enumerate(table.head)
    ]
    # Widths must stand before the first row is written, so they are those of the first rows.
    for n, name in enumerate(head):
        widest = max([len(name), *(len(_in_csv(row[n], table.zone)) for row in first)])
        letter = get_column_letter(n + 1)
        sheet.column_dimensions[letter].width = min(max(widest + 2, NARROWEST), WIDEST)
    sheet.freeze_panes = "A2"
    cells = [_text_cell(sheet, name) for name in head]
    for cell in cells:
        cell.font = Font(bold=True)
        cell.alignment = Alignment(wrap_text=True, vertical="top")
    sheet.append(cells)
    amounts, places = table.amounts, _places(table)
    decimals = "." + "0" * places + "#" * (FINEST_PLACES - places) if places else ""
    for row in itertools.chain(first, rows):
        sheet.append(
            [
                _amount_cell(sheet, cell, f"#,##0{decimals}")
                if n in amounts and isinstance(cell, Decimal | int) and not isinstance(cell, bool)
                else _in_xlsx(sheet, cell, table.zone)
                for n, cell in enumerate(row)
            ]
        )
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _in_xlsx(sheet: object, cell: Cell, zone: ZoneInfo) -> object:
    match cell:
        case str():
            return _text_cell(sheet, cell)
        case bool():
            return _text_cell(sheet, "yes" if cell else "no")
        case datetime():
            # To the second: a spreadsheet's moments are a fraction of a day and lose the rest.
            local = cell.astimezone(zone).replace(tzinfo=None)
            whole = local.replace(microsecond=0)
            return whole + timedelta(seconds=1 if local.microsecond >= 500_000 else 0)
        case _:
            return cell


def _amount_cell(sheet: object, amount: Decimal | int, number_format: str) -> WriteOnlyCell:
    cell = WriteOnlyCell(sheet, value=amount)
    cell.number_format = number_format
    return cell


def _text_cell(sheet: object, text: str) -> WriteOnlyCell:
    """A cell that stays text, whatever it begins with."""
    clean = ILLEGAL_CHARACTERS_RE.sub("\ufffd", text)[:LONGEST_TEXT]
    cell = WriteOnlyCell(sheet, value=clean)
    cell.data_type = "s"
    return cell


def within(rows: "QuerySet[Row]") -> Iterator[Row]:
    """The rows of a query in pieces, once they are known to be no more than a file holds.

    Raises Unacceptable at once: a longer list would be read to its end only to be refused.
    """
    if rows.order_by()[: MOST_ROWS + 1].count() > MOST_ROWS:
        raise _too_many()
    return rows.iterator(chunk_size=2000)


def _too_many() -> Unacceptable:
    return Unacceptable(
        f"the list has more than {MOST_ROWS:,} rows; narrow it before it is exported",
        code="too_many_rows",
    )


def _counted(rows: Iterable[Sequence[Cell]]) -> Iterator[Sequence[Cell]]:
    for number, row in enumerate(rows, start=1):
        if number > MOST_ROWS:
            raise _too_many()
        yield row
