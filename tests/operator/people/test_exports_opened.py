"""A table opened by a spreadsheet that knows nothing of us: LibreOffice turns the XLSX into CSV."""

import csv
import shutil
import subprocess
from datetime import date
from decimal import Decimal
from pathlib import Path
from zoneinfo import ZoneInfo

from people.exports import Format, Table, as_file

FORMULA = '=HYPERLINK("http://example.org")'
# Token 44,34,76: comma, double quote, UTF-8; from LibreOffice's help, "Filter Options for CSV".
AS_CSV = "csv:Text - txt - csv (StarCalc):44,34,76"


def opened(table: Table, folder: Path) -> list[list[str]]:
    """The cells as LibreOffice shows them, with a profile of its own so that none is disturbed."""
    program = shutil.which("soffice")
    assert program, "LibreOffice is missing: sh tests/run installs libreoffice-calc-nogui"
    file = as_file(table, Format.XLSX)
    (folder / file.name).write_bytes(file.content)
    profile = f"-env:UserInstallation={(folder / 'profile').as_uri()}"
    subprocess.run(
        [program, profile, "--headless", "--convert-to", AS_CSV, "--outdir", folder, file.name],
        cwd=folder,
        check=True,
        capture_output=True,
        timeout=120,
    )
    text = (folder / file.name).with_suffix(".csv").read_text(encoding="utf-8")
    return list(csv.reader(text.splitlines()))


def test_a_spreadsheet_reads_names_as_text_and_money_as_figures(tmp_path: Path) -> None:
    table = Table(
        "Sales tax",
        ("product", "receipts", "since"),
        [
            (FORMULA, Decimal("12.50"), date(2026, 1, 31)),
            ("=1+1", Decimal("-0.75"), date(2026, 2, 28)),
            ('Lemon "dry", 12 fl oz', Decimal(3), None),
        ],
        ZoneInfo("America/New_York"),
    )
    head, linked, summed, plain = opened(table, tmp_path)
    assert head == ["product", "receipts", "since"]
    assert [linked[0], summed[0]] == [FORMULA, "=1+1"], "a formula was run"
    assert plain[0] == 'Lemon "dry", 12 fl oz'
    figures = [Decimal(row[1]) for row in (linked, summed, plain)]
    assert figures == [Decimal("12.5"), Decimal("-0.75"), Decimal(3)]
    assert linked[2] == "2026-01-31"
