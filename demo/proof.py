"""Hold the books of the loaded business against what the simulator knows.

    python -m demo.proof [--until DATE] [--weeks N]

The ledger is proved whole, every place holds what was noted, and what the service believes of the
columns at the last dawn is held against what truly lay in them.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Sum

from demo.books import is_empty
from demo.business import Business, marrowby
from demo.business.people import EAST
from demo.business.today import today
from demo.simulator import simulate_with_truth
from demo.simulator.goods import units
from demo.simulator.happenings import COLUMN, WAREHOUSE, Place
from demo.simulator.noted import noted_books
from demo.simulator.truth import Truth
from fleet.inventory.models import StockLevel
from fleet.inventory.queries.check import check_stock
from fleet.machines.models import Column, Product
from fleet.sales.stock import estimate
from service.compliance.models import RecallRemoval

WEEKS = 12
# The ranges are to hold nine times out of ten; fewer than this is not chance.
LEAST_SHARE = 0.82
AFTER_THE_READS = time(5, 0)


@dataclass(frozen=True)
class Held:
    """How many columns hold what their range says, of those that have one."""

    within: int
    of: int

    @property
    def share(self) -> float:
        return self.within / self.of if self.of else 0.0


def main(arguments: Sequence[str] | None = None) -> int:
    """Print what was found. Returns the exit code: 1 where the books are wrong."""
    asked = argparse.ArgumentParser(prog="python -m demo.proof", description=__doc__)
    asked.add_argument("--until", type=date.fromisoformat, default=today())
    asked.add_argument("--weeks", type=int, default=WEEKS)
    options = asked.parse_args(arguments)
    if is_empty():
        print("There is nothing in the books.", file=sys.stderr)
        return 1
    business = marrowby(options.until)
    truth = simulate_with_truth(business, options.until, weeks=options.weeks).truth
    problems = [fault.said for fault in check_stock().faults] + differing(business, truth)
    for problem in problems:
        print(problem)
    print("The ledger balances, and every place holds what was noted." if not problems else "")
    found = estimates_held(business, truth, options.until)
    print(
        f"At dawn {found.within} of {found.of} columns held what the range of nine in ten says "
        f"({found.share:.0%})"
    )
    return int(bool(problems) or found.share < LEAST_SHARE)


def differing(business: Business, truth: Truth) -> list[str]:
    """Places where the ledger's levels are not what was noted, in words."""
    names = {one.code: one.name for one in business.products}
    sites = {one.code: one.name for one in business.warehouses}
    ours: dict[tuple[str, str], Counter[str]] = {}
    # Spare parts are in the ledger alone; the simulator knows of goods.
    levels = (
        StockLevel.objects.exclude(product__form=Product.Form.PART)
        .values_list(
            "place__kind",
            "place__name",
            "place__column__machine__asset_tag",
            "place__column__position__label",
            "product__name",
        )
        .annotate(units=Sum("quantity"))
    )
    for kind, name, tag, label, product, count in levels:
        place = f"{tag} {label}" if kind == COLUMN else name
        ours.setdefault((kind, place), Counter())[product] += count
    # What was called back was taken out after all that was simulated.
    for kind, name, tag, label, product, count in RecallRemoval.objects.values_list(
        *("place__kind", "place__name", "place__column__machine__asset_tag"),
        *("place__column__position__label", "recall__product__name", "quantity"),
    ):
        place = f"{tag} {label}" if kind == COLUMN else name
        ours.setdefault((kind, place), Counter())[product] += count
    found = []
    for place, book in noted_books(business, truth).items():
        noted = {names[code]: count for code, count in book.items()}
        held = {p: n for p, n in ours.get((place.kind, _name(place, sites)), {}).items() if n}
        if held != noted:
            wrong = {p: (held.get(p, 0), noted.get(p, 0)) for p in {*held, *noted}}
            differ = {p: both for p, both in wrong.items() if both[0] != both[1]}
            found.append(f"{_name(place, sites)}: held and noted differ: {differ}")
    return found


def estimates_held(business: Business, truth: Truth, until: date) -> Held:
    """How often what truly lay in a column at the last dawn is in the range that is believed."""
    columns = {
        (column.machine.asset_tag, column.position.label): column
        for column in Column.objects.select_related("machine", "position")
    }
    at = datetime.combine(until, AFTER_THE_READS, tzinfo=ZoneInfo(EAST))
    believed = estimate(columns.values(), at)
    within = of = 0
    for machine in business.machines:
        for label, lines in truth[machine.asset_tag].held.items():
            one = believed[columns[machine.asset_tag, label].pk]
            if one.known_until is None or one.known_until < at - timedelta(hours=30):
                continue  # Nothing is known of the days since; the demand model is asked of those.
            of += 1
            within += one.low <= units(lines) <= one.high
    return Held(within, of)


def _name(place: Place, sites: dict[str, str]) -> str:
    if place.kind == COLUMN:
        return f"{place.name} {place.column}"
    return sites[place.name] if place.kind == WAREHOUSE else place.name


if __name__ == "__main__":
    sys.exit(main())
