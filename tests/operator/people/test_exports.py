"""Lists as files: read back by the standard library's CSV and by openpyxl, never as formulas."""

import csv
import io
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

import openpyxl
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from hypothesis import given
from hypothesis import strategies as st

from people import exports
from people.errors import Unacceptable
from people.exports import Format, Table, as_file, within
from people.models import Business, Person

ZONE = ZoneInfo("America/New_York")
# Beginnings that spreadsheets take for a formula: OWASP, "CSV Injection".
FORMULAS = ("=1+1", "+1", "-1+1", "@SUM(A1)", "\tx", "\r=1", '=HYPERLINK("http://example.org")')


def table(*rows: Any, head: tuple[str, ...] = ("what", "how many")) -> Table:
    return Table("Stock levels", head, rows, ZONE)


def read_csv(content: bytes) -> list[list[str]]:
    return list(csv.reader(io.StringIO(content.decode(), newline="")))


def read_sheet(content: bytes) -> Any:
    return openpyxl.load_workbook(io.BytesIO(content)).active


def test_csv_ends_lines_and_doubles_quotes_as_rfc_4180_says() -> None:
    found = as_file(table(('a "dry" can, 12 fl oz', 3), ("two\nlines", None)), Format.CSV)
    # RFC 4180, section 2, points 1, 5, 6 and 7.
    assert found.content == (b'what,how many\r\n"a ""dry"" can, 12 fl oz",3\r\n"two\nlines",\r\n')
    assert found.name == "stock-levels.csv"
    assert found.media_type.startswith("text/csv")
    assert found.headers == {"Content-Disposition": 'attachment; filename="stock-levels.csv"'}


@pytest.mark.parametrize("text", FORMULAS)
def test_no_text_becomes_a_formula(text: str) -> None:
    line = read_csv(as_file(table((text, -4)), "csv").content)[1]
    assert line == ["'" + text, "-4"]
    cell = read_sheet(as_file(table((text, -4)), "xlsx").content)["A2"]
    assert cell.data_type == "s"
    # XML reads every end of a line as a line feed (XML 1.0, section 2.11).
    assert cell.value == text.replace("\r", "\n")


def test_figures_stay_figures_and_moments_stand_in_the_zone_of_the_business() -> None:
    moment = datetime(2026, 3, 2, 14, 0, 0, 600_000, tzinfo=UTC)
    row = (Decimal("-1.2500"), 7, True, date(2026, 5, 1), moment)
    given = table(row, head=("cost", "n", "kept", "best before", "at"))
    assert read_csv(as_file(given, "csv").content)[1] == [
        "-1.2500",
        "7",
        "yes",
        "2026-05-01",
        "2026-03-02T09:00:00-05:00",
    ]
    sheet = read_sheet(as_file(given, "xlsx").content)
    cells = [cell.value for cell in sheet[2]]
    assert cells[0] == pytest.approx(-1.25)
    assert cells[1:3] == [7, "yes"]
    assert cells[3].date() == date(2026, 5, 1)
    assert cells[4] == datetime(2026, 3, 2, 9, 0, 1)  # noqa: DTZ001 - a sheet knows no offset
    assert sheet["E1"].value == "at (America/New_York)"
    assert sheet.freeze_panes == "A2"


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("amount", "said"),
    [
        (Decimal(0), "0.00"),
        (0, "0.00"),
        (Decimal("41.2500"), "41.25"),
        (Decimal("-3.5"), "-3.50"),
        (Decimal("0.6234"), "0.6234"),
        (Decimal("1E+3"), "1000.00"),
        (None, ""),
    ],
)
def test_amounts_have_the_decimals_of_the_currency(amount: Any, said: str) -> None:
    given = Table("Costs", ("what", "cost", "n"), [("a can", amount, Decimal(3))], ZONE, ("cost",))
    assert read_csv(as_file(given, "csv").content)[1] == ["a can", said, "3"]
    cell, plain = read_sheet(as_file(given, "xlsx").content)[2][1:]
    if amount is None:
        assert cell.value is None
    else:
        assert cell.data_type == "n"
        assert cell.value == pytest.approx(float(amount))
        assert cell.number_format == "#,##0.00####"
    assert plain.number_format == "General"


@pytest.mark.django_db
def test_a_currency_without_a_smaller_unit_has_no_decimals() -> None:
    Business.objects.update_or_create(defaults={"currency": "JPY", "currency_exponent": 0})
    given = Table("Costs", ("cost",), [(Decimal(1200),)], ZONE, ("cost",))
    assert read_csv(as_file(given, "csv").content)[1] == ["1200"]
    assert read_sheet(as_file(given, "xlsx").content)["A2"].number_format == "#,##0"


def test_a_sheet_s_name_leaves_out_what_none_may_hold() -> None:
    found = as_file(Table("Lots [near]: date/2026 of a very long name", ("a",), [], ZONE), "xlsx")
    assert read_sheet(found.content).title == "Lots  near   date 2026 of a ver"
    assert found.name == "lots-near-date-2026-of-a-very-long-name.xlsx"


def test_an_unknown_form_and_too_long_a_list_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(Unacceptable, match="known are csv, xlsx"):
        as_file(table(), "pdf")
    monkeypatch.setattr(exports, "MOST_ROWS", 2)
    assert as_file(table(("a", 1), ("b", 2)), "csv")
    for form in Format:
        with pytest.raises(Unacceptable, match="more than 2 rows"):
            as_file(table(("a", 1), ("b", 2), ("c", 3)), form)


@given(st.lists(st.tuples(st.text(max_size=40), st.integers()), max_size=5))
def test_whatever_is_written_is_read_back(rows: list[tuple[str, int]]) -> None:
    lines = read_csv(as_file(table(*rows), "csv").content)[1:]
    assert len(lines) == len(rows)
    for line, (text, number) in zip(lines, rows, strict=True):
        assert line[0].removeprefix("'") == text.replace("\0", "\ufffd").removeprefix("'")
        assert not line[0].lstrip(" ").startswith(exports.BEGINS_A_FORMULA)
        assert line[1] == str(number)
    small = [(text, number % 1000) for text, number in rows]
    sheet = read_sheet(as_file(table(*small), "xlsx").content)
    assert sheet.max_row == len(rows) + 1
    assert all(cell.data_type in {"s", "n", "inlineStr"} for row in sheet for cell in row)


@pytest.mark.django_db
def test_a_query_too_long_for_a_file_is_refused_before_it_is_read(
    owner: Person, driver: Person, monkeypatch: pytest.MonkeyPatch
) -> None:
    rows = Person.objects.select_related(None).order_by("pk")
    assert list(within(rows)) == [owner, driver]
    monkeypatch.setattr(exports, "MOST_ROWS", 1)
    with (
        CaptureQueriesContext(connection) as asked,
        pytest.raises(Unacceptable, match="more than 1 rows; narrow it") as refused,
    ):
        within(rows)
    assert refused.value.code == "too_many_rows"
    assert len(asked) == 1
    assert "COUNT" in asked[0]["sql"]
