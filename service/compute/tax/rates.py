"""Rates by jurisdiction and day, and the reader of the open rate files that states publish.

A rate file of the Streamlined Sales Tax states is text without a head, one line a rate, fields
parted by commas: state (FIPS, 2 digits), kind of jurisdiction (2 digits: 45 state, 00 county, 01
municipality, 63 special district), the jurisdiction's code (5), general rate inside the state,
general rate from outside, food and drug rate inside, food and drug rate from outside, first day,
last day (CCYYMMDD both).
"""

import csv
import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal, InvalidOperation
from typing import Final

from .split import RateOf

FIELDS: Final = 9
FOR_EVER_YEAR: Final = 2999
"""Files write such a year for a rate without an end."""
KINDS: Final = {"45": "state", "00": "county", "01": "city", "63": "district"}
ORDER: Final = ("state", "county", "city", "district")

STATE_FIPS: Final = {
    "01": "AL",
    "02": "AK",
    "04": "AZ",
    "05": "AR",
    "06": "CA",
    "08": "CO",
    "09": "CT",
    "10": "DE",
    "11": "DC",
    "12": "FL",
    "13": "GA",
    "15": "HI",
    "16": "ID",
    "17": "IL",
    "18": "IN",
    "19": "IA",
    "20": "KS",
    "21": "KY",
    "22": "LA",
    "23": "ME",
    "24": "MD",
    "25": "MA",
    "26": "MI",
    "27": "MN",
    "28": "MS",
    "29": "MO",
    "30": "MT",
    "31": "NE",
    "32": "NV",
    "33": "NH",
    "34": "NJ",
    "35": "NM",
    "36": "NY",
    "37": "NC",
    "38": "ND",
    "39": "OH",
    "40": "OK",
    "41": "OR",
    "42": "PA",
    "44": "RI",
    "45": "SC",
    "46": "SD",
    "47": "TN",
    "48": "TX",
    "49": "UT",
    "50": "VT",
    "51": "VA",
    "53": "WA",
    "54": "WV",
    "55": "WI",
    "56": "WY",
}
"""INCITS 38 (formerly FIPS 5-2): digits and letters of the states and the capital's district."""


@dataclass(frozen=True)
class RateRow:
    """One rate of one jurisdiction in `[begins, ends)`; `ends` None: no end is known."""

    state: str
    kind: str
    code: str
    general: Decimal
    food: Decimal
    begins: date
    ends: date | None


@dataclass(frozen=True)
class BadLine:
    """A line that cannot be read: its number from 1, and what would be right."""

    number: int
    said: str


class BadRateFile(ValueError):
    """What is wrong with a file of rates, by line; nothing of it counts then."""

    def __init__(self, lines: Sequence[BadLine]) -> None:
        shown = "; ".join(f"line {one.number}: {one.said}" for one in lines[:5])
        more = f"; and {len(lines) - 5} more" if len(lines) > 5 else ""
        super().__init__(shown + more)
        self.lines = tuple(lines)


def read_rates(text: str) -> tuple[RateRow, ...]:
    """The rates of a file. Raises BadRateFile with every line that cannot be read."""
    rows: list[tuple[int, RateRow]] = []
    bad: list[BadLine] = []
    for number, cells in enumerate(csv.reader(io.StringIO(text)), start=1):
        if not any(cell.strip() for cell in cells):
            continue
        try:
            rows.append((number, _row([cell.strip() for cell in cells])))
        except ValueError as error:
            bad.append(BadLine(number, str(error)))
    if not rows and not bad:
        bad.append(BadLine(1, "the file is empty"))
    bad += _overlaps(rows)
    if bad:
        raise BadRateFile(sorted(bad, key=lambda one: one.number))
    return tuple(row for _, row in rows)


def _row(cells: Sequence[str]) -> RateRow:
    if len(cells) != FIELDS:
        raise ValueError(f"has {len(cells)} fields; a rate has {FIELDS}")
    state = STATE_FIPS.get(cells[0])
    if state is None:
        raise ValueError(f"state {cells[0]!r} is no state's two digits, such as 34")
    kind = KINDS.get(cells[1])
    if kind is None:
        known = ", ".join(f"{code} {words}" for code, words in KINDS.items())
        raise ValueError(f"kind {cells[1]!r} is not known; known are {known}")
    if not (cells[2].isascii() and cells[2].isdecimal() and len(cells[2]) <= 5):
        raise ValueError(f"jurisdiction {cells[2]!r} is not up to five digits")
    begins, last = _day(cells[7], "first day"), _day(cells[8], "last day")
    if last < begins:
        raise ValueError(f"the last day {last} lies before the first, {begins}")
    return RateRow(
        state=state,
        kind=kind,
        code=f"{state}-{cells[1]}-{cells[2].zfill(5)}",
        general=_rate(cells[3], "general rate"),
        food=_rate(cells[5], "food rate"),
        begins=begins,
        ends=None if last.year >= FOR_EVER_YEAR else last + timedelta(days=1),
    )


def _rate(text: str, name: str) -> Decimal:
    try:
        rate = Decimal(text)
    except InvalidOperation as error:
        raise ValueError(f"{name} {text!r} is no number; 6.5 % is 0.065") from error
    if not 0 <= rate < 1:
        raise ValueError(f"{name} {text} is no fraction below 1; 6.5 % is 0.065")
    return rate


def _day(text: str, name: str) -> date:
    if len(text) != 8 or not text.isdigit():
        raise ValueError(f"{name} {text!r} is no date as 20260401")
    try:
        return date(int(text[:4]), int(text[4:6]), int(text[6:]))
    except ValueError as error:
        raise ValueError(f"{name} {text!r} is no date as 20260401") from error


def _overlaps(rows: Iterable[tuple[int, RateRow]]) -> list[BadLine]:
    """Rates of one jurisdiction that hold on the same day contradict each other."""
    bad: list[BadLine] = []
    latest: dict[str, tuple[int, RateRow]] = {}
    for number, row in sorted(rows, key=lambda one: (one[1].begins, one[0])):
        before = latest.get(row.code)
        if before and (before[1].ends is None or row.begins < before[1].ends):
            bad.append(
                BadLine(number, f"{row.code} has another rate on {row.begins}, in line {before[0]}")
            )
        if before is None or _ends(row) >= _ends(before[1]):
            latest[row.code] = (number, row)
    return bad


def _ends(row: RateRow) -> date:
    return row.ends or date.max


def on(rates: Iterable[tuple[RateOf, date, date | None]], day: date) -> tuple[RateOf, ...]:
    """Those in force on a day, the state's first, then county, city and districts by code."""
    found = [rate for rate, begins, ends in rates if begins <= day and (ends is None or day < ends)]
    place = {kind: n for n, kind in enumerate(ORDER)}
    return tuple(sorted(found, key=lambda one: (place.get(one.kind, len(ORDER)), one.code)))
