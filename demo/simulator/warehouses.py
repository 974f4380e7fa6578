"""A warehouse: it orders by the week, receives, hands out to trucks, and is counted each month."""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Mapping
from datetime import date, datetime, time, timedelta
from random import Random
from zoneinfo import ZoneInfo

from demo.business.shapes import Business, CasePack, Supplier
from demo.simulator.goods import Lines, Lot, Pile
from demo.simulator.happenings import (
    DAMAGE,
    OUT_OF_DATE,
    WAREHOUSE,
    Counted,
    CountedLine,
    Happening,
    Lost,
    Opened,
    Ordered,
    Place,
    Received,
    ReceivedLine,
    Wasted,
)

# What is thought to leave in a week for each unit of capacity, before anything has left.
_FIRST_GUESS_A_WEEK = 0.45
_WEEKS_AT_THE_START = 2.2
_SAFETY_WEEKS = 0.7
_NEW_WEEK_COUNTS = 0.4
_OLDEST_SHARE, _FRESHEST_SHARE = 0.62, 0.92
_SHORT_A_CASE_SHARE = 0.018
_BROKEN_UNITS_SHARE = 0.012
_LOSES_SOME_A_DAY = 0.06
_DROPS_A_PACK_A_DAY = 0.05
_COUNTED_EVERY_DAYS = 28
_COUNTED_FIRST_AFTER_DAYS = 20


class Warehouse:
    """Moments passed in are by the warehouse's wall clock."""

    def __init__(
        self,
        business: Business,
        *,
        code: str,
        capacities: Mapping[str, int],
        first_day: date,
        seed: int,
    ) -> None:
        self.code = code
        self.place = Place(WAREHOUSE, code)
        self.zone = ZoneInfo(business.warehouse(code).time_zone)
        self.happenings: list[Happening] = []
        self.pile = Pile()
        self._random = Random(f"{seed}:warehouse:{code}")
        self._suppliers = business.suppliers
        self._shelf_life_days = {one.code: one.shelf_life_days for one in business.products}
        self._first_day = first_day
        self._week = {
            product: _FIRST_GUESS_A_WEEK * capacity for product, capacity in capacities.items()
        }
        self._left: Counter[str] = Counter()
        self._coming: dict[datetime, list[Ordered]] = defaultdict(list)
        self._numbers = 0
        self._open(first_day)

    def lot(self, product_code: str, day: date) -> Lot:
        """A lot as it comes from a supplier on a day."""
        life = self._shelf_life_days[product_code]
        left = int(life * self._random.uniform(_OLDEST_SHARE, _FRESHEST_SHARE))
        best_before = day + timedelta(days=left)
        made = best_before - timedelta(days=life)
        return Lot(product_code, f"{made:%y%j}{self._random.choice('ABCDE')}", best_before)

    def day_of(self, day: date) -> None:
        """What happens here in a day, before the trucks are loaded."""
        if day.weekday() == 0 and day > self._first_day:
            self._throw_out(day)
        if self._random.random() < _DROPS_A_PACK_A_DAY:
            self._lose(day, why=DAMAGE)
        if self._random.random() < _LOSES_SOME_A_DAY:
            self._lose(day, why=None)

    def order_and_receive(self, day: date) -> None:
        """What comes in and is ordered, after the trucks have left."""
        for at in sorted(at for at in self._coming if at.date() == day):
            for order in self._coming.pop(at):
                self._receive(at, order)
        if day.weekday() == 4:
            self._learn()
        for supplier in self._suppliers:
            if supplier.order_weekday == day.weekday():
                self._order(supplier, self._aware(day, time(14, 30)))
        since = (day - self._first_day).days - _COUNTED_FIRST_AFTER_DAYS
        if since >= 0 and since % _COUNTED_EVERY_DAYS == 0:
            self._count(self._aware(day, time(15, 30)))

    def hand_out(self, wanted: Mapping[str, int]) -> tuple[Lines, tuple[tuple[str, int], ...]]:
        """Lots for a truck, and what there was too little of."""
        lines: list[tuple[Lot, int]] = []
        short = []
        for product_code, count in sorted(wanted.items()):
            got = self.pile.take(product_code, count)
            lines += got
            handed = sum(part for _, part in got)
            self._left[product_code] += count
            if handed < count:
                short.append((product_code, count - handed))
        return tuple(lines), tuple(short)

    def take_back(self, lines: Lines) -> None:
        self.pile.put(lines)

    def _open(self, day: date) -> None:
        for product, a_week in sorted(self._week.items()):
            self.pile.put([(self.lot(product, day), math.ceil(a_week * _WEEKS_AT_THE_START))])
        self.happenings.append(Opened(self._aware(day, time()), self.place, self.pile.lines()))

    def _learn(self) -> None:
        for product in self._week:
            self._week[product] += _NEW_WEEK_COUNTS * (self._left[product] - self._week[product])
        self._left.clear()

    def _order(self, supplier: Supplier, at: datetime) -> None:
        cases = []
        for pack in supplier.packs:
            asked = self._cases(pack, supplier)
            if asked:
                cases.append((pack.product_code, asked))
        if not cases:
            return
        self._numbers += 1
        number = f"{self.code}-{supplier.code}-{self._numbers:03d}"
        order = Ordered(at, number, supplier.code, self.code, tuple(cases))
        self.happenings.append(order)
        due = at.date() + timedelta(days=supplier.lead_time_days)
        while due.weekday() > 4:
            due += timedelta(days=1)
        minute = 5 * supplier.order_weekday + 10 * supplier.lead_time_days
        self._coming[self._aware(due, time(10, minute % 60))].append(order)

    def _cases(self, pack: CasePack, supplier: Supplier) -> int:
        a_week = self._week.get(pack.product_code, 0.0)
        units_coming = sum(
            count * pack.units_per_case
            for orders in self._coming.values()
            for order in orders
            for product, count in order.cases
            if product == pack.product_code
        )
        cover = a_week * (1.0 + supplier.lead_time_days / 7 + _SAFETY_WEEKS)
        missing = cover - self.pile.units(pack.product_code) - units_coming
        if missing <= 0:
            return 0
        return max(pack.minimum_cases, math.ceil(missing / pack.units_per_case))

    def _receive(self, at: datetime, order: Ordered) -> None:
        supplier = next(one for one in self._suppliers if one.code == order.supplier_code)
        packs = {pack.product_code: pack for pack in supplier.packs}
        lines = []
        for product, cases in order.cases:
            per_case = packs[product].units_per_case
            ordered = received = cases * per_case
            luck = self._random.random()
            if luck < _SHORT_A_CASE_SHARE:
                received -= per_case
            elif luck < _SHORT_A_CASE_SHARE + _BROKEN_UNITS_SHARE:
                received -= self._random.randint(1, 4)
            lines.append(ReceivedLine(self.lot(product, at.date()), ordered, received))
        self.pile.put((line.lot, line.received) for line in lines if line.received)
        self.happenings.append(Received(at, order, tuple(lines)))

    def _throw_out(self, day: date) -> None:
        lines = self.pile.take_lots(self.pile.out_of_date(day))
        if lines:
            at = self._aware(day, time(6, 5))
            self.happenings.append(Wasted(at, self.place, lines, OUT_OF_DATE))

    def _lose(self, day: date, why: str | None) -> None:
        held = self.pile.products()
        if not held:
            return
        product = self._random.choice(held)
        count = self._random.randint(1, 2) if why is None else self._random.choice((1, 1, 2, 6))
        lines = self.pile.take(product, count)
        at = self._aware(day, time(6, 10))
        if why is None:
            self.happenings.append(Lost(at, self.place, lines))
        else:
            self.happenings.append(Wasted(at, self.place, lines, why))

    def _count(self, at: datetime) -> None:
        lines = tuple(
            CountedLine(lot.product_code, lot, count, count) for lot, count in self.pile.lines()
        )
        self.happenings.append(Counted(at, self.place, lines, whole=True))

    def _aware(self, day: date, at: time) -> datetime:
        return datetime.combine(day, at, tzinfo=self.zone)
