"""Lists of earnings as tables for a file, the same at either door."""

from collections.abc import Iterable
from decimal import Decimal
from zoneinfo import ZoneInfo

from people.exports import Table
from service.compute.earnings import COSTS

from .queries.ranking import Line

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
CENT = Decimal("0.01")


def earnings(lines: Iterable[Line], by: str, zone: ZoneInfo) -> Table:
    """Of `queries.ranking.ranked`. An empty cell is not known."""
    head = (
        *(by, "besides", "receipts", *(WORDS[name] for name in COSTS), "profit"),
        *("units", "visits", "driver-hours", "kilometres", "profit a driver-hour", "not known"),
    )
    return Table(
        f"Earnings by {by}",
        head,
        (
            (
                one.label,
                one.besides,
                _money(one.earned.receipts),
                *(_money(one.earned.cost(name)) for name in COSTS),
                _money(one.earned.profit),
                round(one.earned.units, 1),
                round(one.earned.visits, 1),
                round(one.hours, 2),
                round(one.earned.km, 1),
                _money(one.per_hour),
                ", ".join(WORDS.get(name, name) for name in sorted(one.earned.unknown)),
            )
            for one in lines
        ),
        zone,
    )


def _money(amount: Decimal | None) -> Decimal | None:
    return None if amount is None else amount.quantize(CENT)
