"""Lists of earnings as tables for a file, the same at either door."""

from collections.abc import Iterable, Sequence
from decimal import ROUND_HALF_UP, Decimal
from typing import Final
from zoneinfo import ZoneInfo

from people.exports import Cell, Table
from service.compute.earnings import COSTS

from .queries.ranking import Line, whole

#: The costs in words, in the order they are taken off.
WORDS = {
    "refunds": "refunds",
    "tax": "tax",
    "goods": "goods",
    "waste": "waste",
    "missing": "missing goods",
    "commission": "commission",
    "fees": "card fees",
    "visits": "visits",
    "repairs": "repairs",
    "upkeep": "upkeep",
    "overhead": "overhead",
}
CENT: Final = Decimal("0.01")
TENTH: Final = Decimal("0.1")
FIRST_FIGURE: Final = 2
HOURLY: Final = FIRST_FIGURE + 1 + len(COSTS) + 5
"""The column of profit a driver-hour, after receipts, costs, profit and four amounts of work."""


def earnings(lines: Sequence[Line], by: str, zone: ZoneInfo) -> Table:
    """Of `queries.ranking.ranked`, with their sum below. An empty cell is not known."""
    head = (
        *(by, "besides", "receipts", *(WORDS[name] for name in COSTS), "profit"),
        *("units", "visits", "driver-hours", "kilometres", "profit a driver-hour", "not known"),
    )
    rows = [_row(one) for one in lines]
    if rows:
        rows.append(_total(rows, whole(lines)))
    money = (*head[FIRST_FIGURE : HOURLY - 4], head[HOURLY])
    return Table(f"Earnings by {by}", head, rows, zone, money=money)


def _row(one: Line) -> list[Cell]:
    return [
        one.label,
        one.besides,
        _money(one.earned.receipts),
        *(_money(one.earned.cost(name)) for name in COSTS),
        _money(one.earned.profit),
        one.earned.units.quantize(TENTH, ROUND_HALF_UP),
        one.earned.visits.quantize(TENTH, ROUND_HALF_UP),
        one.hours.quantize(CENT, ROUND_HALF_UP),
        one.earned.km.quantize(TENTH, ROUND_HALF_UP),
        _money(one.per_hour),
        ", ".join(WORDS.get(name, name) for name in sorted(one.earned.unknown)),
    ]


def _total(rows: Sequence[Sequence[Cell]], together: Line) -> list[Cell]:
    """What a reader gets who adds up the cells of each column; profit an hour is no sum."""
    total = _row(together)
    for at in range(FIRST_FIGURE, HOURLY):
        figures = [cell for row in rows if isinstance(cell := row[at], Decimal)]
        total[at] = sum(figures, Decimal(0)) if figures else None
    return total


def hours_shown(lines: Iterable[Line]) -> Decimal:
    """Driver-hours of all lines, as they add up when each is shown to a tenth."""
    return sum((one.hours.quantize(TENTH, ROUND_HALF_UP) for one in lines), Decimal(0))


def _money(amount: Decimal | None) -> Decimal | None:
    return None if amount is None else amount.quantize(CENT, ROUND_HALF_UP)
