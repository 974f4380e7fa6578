"""A driver with a truck: loads what the day should need, fills from it, counts it at night."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping
from datetime import date, datetime, timedelta
from random import Random
from typing import NamedTuple

from demo.business.shapes import Shift
from demo.simulator.goods import Lines, Lot, Pile
from demo.simulator.happenings import (
    DAMAGE,
    OUT_OF_DATE,
    TRUCK,
    Counted,
    CountedLine,
    Happening,
    Loaded,
    Lost,
    Opened,
    Place,
    Unloaded,
    Wasted,
)
from demo.simulator.warehouses import Warehouse

_FIRST_GUESS_SHARE = 0.4
_NEW_FILL_COUNTS = 0.35
_MARGIN = 1.15
_MISCOUNTS_SHARE = 0.006
_LOSES_ONE_A_DAY = 0.04
_DROPS_ONE_SHARE = 0.02
# Over the weekend a truck keeps this many of what its machines sell.
_KEPT_OF_EACH = 12

# At a machine: from arriving to a count of the truck, if one is needed before it is filled from.
BEFORE_FILLING = timedelta(seconds=50)

# By column: the product it shall hold, and its capacity.
Selling = Mapping[str, tuple[str, int]]


class Filled(NamedTuple):
    """What went from the truck into a column, and what the driver wrote down."""

    product_code: str
    units: int
    noted: int


class Supply:
    """Where a driver fills from. This one is another's: it has everything, and no books."""

    random: Random
    name = ""

    def __init__(self, random: Random, best_before: date) -> None:
        self.random = random
        self._best_before = best_before

    def take(self, product_code: str, count: int) -> Lines:
        lot = Lot(product_code, "", self._best_before)
        return ((lot, count),) if count else ()

    def give(self, lines: Lines) -> None:
        """Goods that were taken out of a machine."""

    def drops_one(self) -> Lines:
        return ()

    def note(
        self, asset_tag: str, at: datetime, filled: Mapping[str, Filled], spoiled: Lines
    ) -> None:
        """Write down what was filled, by column, and what was spoiled on the way."""

    def seal(self) -> str:
        return ""


class Truck(Supply):
    """`noted` is what the books say is on it; they are put right where they say too little."""

    def __init__(self, *, shift: Shift, warehouse: Warehouse, number: int, seed: int) -> None:
        self.name = shift.vehicle_name
        self.driver_email = shift.driver_email
        self.place = Place(TRUCK, self.name)
        self.warehouse = warehouse
        self.random = Random(f"{seed}:truck:{self.name}")
        self.happenings: list[Happening] = []
        self.pile = Pile()
        self.noted: Counter[str] = Counter()
        self._usual: dict[tuple[str, str], float] = {}
        self._seals = 100_000 * number + self.random.randrange(10_000)

    def open(self, at: datetime, sells: Mapping[str, int]) -> None:
        """Begin with a little of everything its machines sell; `sells` is capacity by product."""
        for product_code, capacity in sorted(sells.items()):
            lot = self.warehouse.lot(product_code, at.date())
            self.pile.put([(lot, self.random.randint(0, math.ceil(capacity * 0.1)))])
        self.pile.take_lots(line for line in self.pile.lines() if not line[1])
        self._note(self.pile.lines())
        self.happenings.append(Opened(at, self.place, self.pile.lines()))

    def load(self, at: datetime, stops: Mapping[str, Selling]) -> None:
        """Stops give, for each column, the product it shall hold and its capacity."""
        old = self.pile.take_lots(self.pile.out_of_date(at.date()))
        if old:
            self._unnote(at - timedelta(minutes=2), old)
            self.happenings.append(Wasted(at, self.place, old, OUT_OF_DATE))
        needs: Counter[str] = Counter()
        for asset_tag, columns in stops.items():
            for label, (product_code, capacity) in columns.items():
                usual = self._usual.setdefault((asset_tag, label), _FIRST_GUESS_SHARE * capacity)
                needs[product_code] += math.ceil(10 * usual)
        wanted = {}
        for product_code, tenths in needs.items():
            expected = tenths / 10
            carried = math.ceil(_MARGIN * expected + math.sqrt(expected))
            missing = carried - self.pile.units(product_code)
            if missing > 0:
                wanted[product_code] = missing
        lines, short = self.warehouse.hand_out(wanted)
        self.pile.put(lines)
        self._note(lines)
        self.happenings.append(Loaded(at + timedelta(minutes=10), self.name, lines, short))

    def end_day(self, at: datetime, sells: Iterable[str], *, unload: bool) -> None:
        """Count the truck; `unload` what is over, and what none of its machines sells now."""
        if self.random.random() < _LOSES_ONE_A_DAY and self.pile.products():
            gone = self.pile.take(self.random.choice(self.pile.products()), 1)
            self.happenings.append(Lost(at, self.place, gone))
        self._count(at, {*self.pile.products(), *(+self.noted)}, whole=True)
        if not unload:
            return
        kept = set(sells)
        going: list[tuple[Lot, int]] = []
        for product_code in self.pile.products():
            keep = _KEPT_OF_EACH if product_code in kept else 0
            over = self.pile.units(product_code) - keep
            if over > keep:
                going += self.pile.take(product_code, over)
        if going:
            lines = tuple(going)
            self._unnote(at + timedelta(minutes=4), lines)
            self.warehouse.take_back(lines)
            self.happenings.append(Unloaded(at + timedelta(minutes=5), self.name, lines))

    def take(self, product_code: str, count: int) -> Lines:
        return self.pile.take(product_code, count)

    def give(self, lines: Lines) -> None:
        self.pile.put(lines)
        self._note(lines)

    def drops_one(self) -> Lines:
        """Now and then a driver drops something and it is spoiled."""
        if self.random.random() >= _DROPS_ONE_SHARE or not self.pile.products():
            return ()
        return self.pile.take(self.random.choice(self.pile.products()), 1)

    def note(
        self, asset_tag: str, at: datetime, filled: Mapping[str, Filled], spoiled: Lines
    ) -> None:
        asked: Counter[str] = Counter()
        gone: Counter[str] = Counter()
        for label, one in filled.items():
            asked[one.product_code] += one.noted
            gone[one.product_code] += one.units
            key = (asset_tag, label)
            if key in self._usual:
                self._usual[key] += _NEW_FILL_COUNTS * (one.units - self._usual[key])
        for lot, count in spoiled:
            asked[lot.product_code] += count
            gone[lot.product_code] += count
        self._have_in_books(at + BEFORE_FILLING, asked, gone)
        self.noted.subtract(asked)
        if spoiled:
            done = at + timedelta(minutes=4)
            self.happenings.append(Wasted(done, self.place, spoiled, DAMAGE))

    def seal(self) -> str:
        self._seals += 1
        return f"{self._seals:07d}"

    def _have_in_books(
        self, at: datetime, asked: Mapping[str, int], gone: Mapping[str, int]
    ) -> None:
        """Count on the spot, as of `at`, what the books say is less than is about to be noted.

        `gone` has left the pile already.
        """
        lines = []
        for code, count in sorted(asked.items()):
            if count > self.noted[code]:
                there = self.pile.units(code) + gone.get(code, 0)
                lines.append(CountedLine(code, None, there, max(there, count)))
                self.noted[code] = max(there, count)
        if lines:
            self.happenings.append(Counted(at, self.place, tuple(lines), whole=False))

    def _count(self, at: datetime, product_codes: Iterable[str], *, whole: bool) -> None:
        lines = []
        for code in sorted(product_codes):
            there = noted = self.pile.units(code)
            if self.random.random() < _MISCOUNTS_SHARE:
                noted = max(0, there + self.random.choice((-1, 1)))
            lines.append(CountedLine(code, None, there, noted))
            self.noted[code] = noted
        self.happenings.append(Counted(at, self.place, tuple(lines), whole=whole))

    def _note(self, lines: Lines) -> None:
        for lot, count in lines:
            self.noted[lot.product_code] += count

    def _unnote(self, at: datetime, lines: Lines) -> None:
        """Out of the books what has left the pile, counted first where they hold too little."""
        gone: Counter[str] = Counter()
        for lot, count in lines:
            gone[lot.product_code] += count
        self._have_in_books(at, gone, gone)
        self.noted.subtract(gone)
