"""What the card processor paid out: files as it sends them, and where they differ from sales."""

from __future__ import annotations

import csv
import io
from collections import defaultdict
from collections.abc import Iterator, Mapping
from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from typing import Any, TypeAlias
from zoneinfo import ZoneInfo

from demo.books import Books
from demo.business.machines import CASHLESS, asset_tag
from demo.business.people import EAST
from demo.facts import cents
from demo.simulator.board import CASHLESS_LINE
from demo.simulator.truth import Truth
from fleet.sales.actions import cards, terminals
from fleet.sales.models import SettlementMapping

FEE = Decimal("0.0545")
Line: TypeAlias = tuple[str, str, str, str, str]
HEAD = ("Settled for", "Reader", "Card sales", "Fee", "Batch")
# The reader was changed and nobody told the office; days before the end.
CHANGED_READER, CHANGED_DAYS = asset_tag("S15", "S"), 9
# The processor left out some days of one machine, and paid a day of another twice.
LEFT_OUT, LEFT_OUT_DAYS = asset_tag("S06", "S"), (16, 13)
TWICE, TWICE_DAY = asset_tag("S30", "S"), 11


class Carded:
    """Writes the settlements of each month that the books know sales of."""

    def __init__(self, books: Books, truth: Truth, until: date) -> None:
        self._books, self._truth, self._until = books, truth, until
        self._now = books.now
        self._accountant = next(p for p in books.people.values() if "accountant" in p.roles)

    def write(self) -> int:
        """How many files were taken in."""
        given: dict[str, Any] = {"actor": self._accountant, "now": self._now}
        mapping = cards.save_mapping(
            mapping=None,
            changes={
                "name": "Card processor, monthly",
                "date_column": HEAD[0],
                "terminal_column": HEAD[1],
                "amount_column": HEAD[2],
                "fee_column": HEAD[3],
                "reference_column": HEAD[4],
                "day_order": SettlementMapping.DayOrder.MONTH_FIRST,
            },
            **given,
        )
        for machine in self._books.business.machines:
            if CASHLESS in machine.payments:
                terminals.hang_terminal(
                    code=_reader(machine.asset_tag),
                    machine=self._books.machines[machine.asset_tag],
                    starts_on=machine.placed_on,
                    **given,
                )
        months: dict[date, list[Line]] = defaultdict(list)
        for day, line in self._lines():
            months[day.replace(day=1)].append(line)
        for month in sorted(months):
            cards.take_in(
                name=f"settlements-{month:%Y-%m}.csv",
                raw=_file(months[month]),
                mapping=mapping,
                **given,
            )
        return len(months)

    def _lines(self) -> Iterator[tuple[date, Line]]:
        """A line a day and reader, up to yesterday."""
        for tag in self._books.machines:
            for day, gross_minor in sorted(self._sold(tag).items()):
                ago = (self._until - day).days
                first, last = LEFT_OUT_DAYS
                if ago < 1 or (tag == LEFT_OUT and last <= ago <= first):
                    continue
                changed = tag == CHANGED_READER and ago <= CHANGED_DAYS
                gross = cents(gross_minor)
                fee = (gross * FEE).quantize(Decimal("0.01"), rounding=ROUND_HALF_UP)
                line = (
                    f"{day:%m/%d/%Y}",
                    _reader(tag, new=changed),
                    f"{gross:.2f}",
                    f"{fee:.2f}",
                    f"B{day:%y%j}",
                )
                yield day, line
                if tag == TWICE and ago == TWICE_DAY:
                    yield day, line

    def _sold(self, tag: str) -> Mapping[date, int]:
        """What customers paid by card, by the day of the business."""
        found: dict[date, int] = defaultdict(int)
        for vend in self._truth[tag].vends:
            if vend.device == CASHLESS_LINE:
                found[vend.at.astimezone(ZoneInfo(EAST)).date()] += vend.price_minor
        return found


def _reader(tag: str, *, new: bool = False) -> str:
    """The code on a reader's plate."""
    return f"R{700_000 + 7 * int(tag[3:]) + (90_000 if new else 0)}"


def _file(lines: list[Line]) -> bytes:
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(HEAD)
    lines.sort(key=_by_day)
    writer.writerows(lines)
    return out.getvalue().encode()


def _by_day(line: Line) -> tuple[str, str, str]:
    return line[0][6:], line[0], line[1]
