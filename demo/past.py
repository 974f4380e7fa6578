"""The simulated weeks of drivers and warehouses, written down day by day as they were noted.

Nothing here knows more than the people of the business did: counts and fills are as they wrote
them, what was lost stands in no note, and what sold follows from reads and counts.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import date, datetime, time, timedelta
from typing import TypeVar
from zoneinfo import ZoneInfo

from django.db import transaction

from demo.books import CHANGED_AFTER, Books
from demo.business.people import EAST
from demo.simulator.goods import Lines, Lot
from demo.simulator.happenings import (
    DAMAGE,
    OUT_OF_DATE,
    WAREHOUSE,
    Counted,
    Happening,
    Loaded,
    Lost,
    Opened,
    Ordered,
    Received,
    Round,
    Unloaded,
    Wasted,
)
from demo.simulator.truth import Truth, Visit
from demo.standing import Standing
from fleet.inventory import models as stock
from fleet.inventory.actions import counts, ledger, orders, places, receipts
from fleet.inventory.models import StockPlace
from fleet.machines.models import Column
from people.models import Person
from service.runs.actions import past

Reason = stock.Movement.Reason
WASTE_REASONS = {
    DAMAGE: stock.Movement.WasteReason.DAMAGED,
    OUT_OF_DATE: stock.Movement.WasteReason.OUT_OF_DATE,
}
TAKEN_OUT_AFTER = CHANGED_AFTER / 2
FILLED_AFTER = CHANGED_AFTER + timedelta(seconds=20)
IN_THE_EVENING = time(23, 30)
Told = TypeVar("Told", bound=Happening)


class Past:
    """Writes what happened to the goods into books that hold the business already."""

    def __init__(self, books: Books, standing: Standing, truth: Truth) -> None:
        self.books = books
        self.standing = standing
        self._truth = truth
        self._lots: dict[Lot, stock.Lot] = {}
        self._orders: dict[str, stock.PurchaseOrder] = {}
        self._columns: dict[tuple[str, str], Column] = {}
        self._column_places: dict[int, StockPlace] = {}
        self._outside = places.outside()
        self._find_columns()

    def write(self) -> None:
        """Day by day, each whole or not at all."""
        told: dict[date, list[Happening]] = defaultdict(list)
        for one in self._truth.happenings:
            told[one.day if isinstance(one, Round) else one.at.date()].append(one)
        visits: dict[tuple[date, str], list[Visit]] = defaultdict(list)
        tags: dict[int, str] = {}
        for tag in self.books.machines:
            for visit in self._truth[tag].visits:
                visits[visit.at.date(), visit.truck].append(visit)
                tags[id(visit)] = tag
        with transaction.atomic():
            self._open(one for day in told.values() for one in _of(day, Opened))
        for day in sorted(told):
            with transaction.atomic():
                self._day(day, told[day])
                for one in _of(told[day], Round):
                    made = sorted(visits[day, one.truck], key=lambda visit: visit.at)
                    self._drive(one, [(tags[id(visit)], visit) for visit in made], told[day])
                self._end(told[day])

    def _find_columns(self) -> None:
        rows = Column.objects.filter(machine__in=self.books.machines.values()).select_related(
            "machine", "position"
        )
        for column in rows:
            self._columns[column.machine.asset_tag, column.position.label] = column
        self._column_places = places.column_places(rows)

    def _open(self, opened: Iterable[Opened]) -> None:
        """What was counted when the books were opened."""
        at: dict[StockPlace, tuple[datetime, Lines]] = {}
        for one in opened:
            at[self._place(one)] = (one.at, one.lines)
        moments = [moment for moment, _ in at.values()]
        for tag in self.books.machines:
            for label, lines in self._truth[tag].opened.items():
                place = self._column_places[self._columns[tag, label].pk]
                at[place] = (min(moments), lines)
        self._know(line for _, lines in at.values() for line in lines)
        ledger.post_all(
            postings=[
                ledger.Posting(
                    reason=Reason.OPENING,
                    lines=self._lines(lines, self._outside["unexplained"], place, named=True),
                    happened_at=moment,
                )
                for place, (moment, lines) in at.items()
                if lines
            ],
            actor=self.books.dispatcher,
            now=max(moments),
        )

    def _day(self, day: date, told: Sequence[Happening]) -> None:
        thrown = [one for one in _of(told, Wasted) if one.place.kind == WAREHOUSE]
        if thrown:
            self._post([self._waste(one) for one in thrown], self.books.dispatcher, day)

    def _end(self, told: Sequence[Happening]) -> None:
        """What came into the warehouses, was ordered and counted, after the trucks had left."""
        desk = self.books.dispatcher
        for received in _of(told, Received):
            self._receive(received)
        for ordered in _of(told, Ordered):
            self._order(ordered)
        for one in _of(told, Counted):
            if one.place.kind == WAREHOUSE:
                self._know((line.lot, 0) for line in one.lines if line.lot is not None)
                self._count(one, desk)

    def _drive(
        self, driven: Round, visits: Sequence[tuple[str, Visit]], told: Sequence[Happening]
    ) -> None:
        driver = self.books.people[driven.driver_email]
        truck = self.standing.vehicles[driven.truck].truck
        home = self.standing.vehicles[driven.truck].depot.site
        warehouse = places.warehouse(home)
        steps: list[tuple[datetime, ledger.Posting | Counted]] = []
        for one in told:
            match one:
                case Loaded() if one.truck == driven.truck:
                    lines = self._lines(one.lines, warehouse, truck)
                    steps.append((one.at, ledger.Posting(Reason.LOAD, lines, one.at)))
                case Unloaded() if one.truck == driven.truck:
                    lines = self._lines(one.lines, truck, warehouse)
                    steps.append((one.at, ledger.Posting(Reason.UNLOAD, lines, one.at)))
                case Wasted() if one.place.name == driven.truck:
                    steps.append((one.at, self._waste(one)))
                case Counted() if one.place.name == driven.truck:
                    steps.append((one.at, one))
        if visits:
            counts.count_round(
                rounds=[self._found(tag, visit) for tag, visit in visits],
                actor=driver,
                now=_evening(driven.day),
            )
        for tag, visit in visits:
            steps += [(one.happened_at, one) for one in self._at_machine(tag, visit, truck)]
        self._take(sorted(steps, key=lambda step: step[0]), driver, driven.day)
        past.write_down(
            driver=self.standing.drivers[driven.driver_email],
            day=driven.day,
            started_at=driven.starts,
            ended_at=driven.back,
            visits=[
                past.PastVisit(self.books.machines[tag], visit.at, visit.leaves, visit.seal)
                for tag, visit in visits
            ],
            actor=driver,
            now=_evening(driven.day),
        )

    def _take(
        self,
        steps: Sequence[tuple[datetime, ledger.Posting | Counted]],
        driver: Person,
        day: date,
    ) -> None:
        """In their order; what lies between two counts goes to the ledger at once."""
        waiting: list[ledger.Posting] = []
        for _, step in steps:
            if isinstance(step, Counted):
                self._post(waiting, driver, day)
                waiting = []
                self._count(step, driver)
            elif step.lines:
                waiting.append(step)
        self._post(waiting, driver, day)

    def _found(self, tag: str, visit: Visit) -> counts.CountedAt:
        return counts.CountedAt(
            visit.at,
            [
                counts.ColumnCount(
                    self._columns[tag, fill.column],
                    {self.books.products[fill.was]: fill.noted_counted},
                )
                for fill in visit.fills
            ],
        )

    def _at_machine(self, tag: str, visit: Visit, truck: StockPlace) -> Iterable[ledger.Posting]:
        out = visit.at + TAKEN_OUT_AFTER
        old, pulled, filled = [], [], []
        for fill in visit.fills:
            place = self._column_places[self._columns[tag, fill.column].pk]
            was, product = self.books.products[fill.was], self.books.products[fill.product_code]
            if fill.out_of_date:
                old.append(ledger.Line(was, fill.out_of_date, place, self._outside["waste"]))
            if fill.pulled:
                pulled.append(ledger.Line(was, fill.pulled, place, truck))
            if fill.noted_filled:
                filled.append(ledger.Line(product, fill.noted_filled, truck, place))
        why = WASTE_REASONS[OUT_OF_DATE]
        yield ledger.Posting(Reason.WASTE, old, out, waste_reason=why)
        yield ledger.Posting(Reason.REMOVAL, pulled, out)
        yield ledger.Posting(Reason.FILL, filled, visit.at + FILLED_AFTER)

    def _waste(self, wasted: Wasted) -> ledger.Posting:
        return ledger.Posting(
            Reason.WASTE,
            self._lines(wasted.lines, self._place(wasted), self._outside["waste"]),
            wasted.at,
            waste_reason=WASTE_REASONS[wasted.why],
        )

    def _order(self, ordered: Ordered) -> None:
        desk = self.books.dispatcher
        order = orders.draft(
            supplier=self.standing.suppliers[ordered.supplier_code],
            place=self.standing.warehouses[ordered.warehouse_code],
            lines=[
                orders.Wanted(self.books.products[code], cases) for code, cases in ordered.cases
            ],
            note=ordered.number,
            actor=desk,
            now=ordered.at,
        )
        self._orders[ordered.number] = orders.place(order=order, actor=desk, now=ordered.at)

    def _receive(self, received: Received) -> None:
        receipts.receive(
            order=self._orders[received.order.number],
            place=self.standing.warehouses[received.order.warehouse_code],
            lines=[
                receipts.Received(
                    product=self.books.products[line.lot.product_code],
                    units=line.received,
                    code=line.lot.code,
                    best_before=line.lot.best_before,
                )
                for line in received.lines
                if line.received
            ],
            received_at=received.at,
            delivery_note=received.order.number,
            closes=True,
            actor=self.books.dispatcher,
            now=received.at,
        )

    def _count(self, counted: Counted, actor: Person) -> None:
        found = {
            (
                self.books.products[line.product_code],
                None if line.lot is None else self._lots[line.lot],
            ): line.noted
            for line in counted.lines
        }
        counts.count_place(
            place=self._place(counted),
            counted=found,
            # Goods were counted; spare parts lie in a box of their own beside them.
            whole=False,
            actor=actor,
            counted_at=counted.at,
            now=max(counted.at, _evening(counted.at.date())),
        )

    def _post(self, postings: Sequence[ledger.Posting], actor: Person, day: date) -> None:
        if postings:
            ledger.post_all(postings=postings, actor=actor, now=_evening(day))

    def _place(self, one: Opened | Wasted | Lost | Counted) -> StockPlace:
        if one.place.kind == WAREHOUSE:
            return self.standing.warehouses[one.place.name]
        return self.standing.vehicles[one.place.name].truck

    def _lines(
        self, lines: Lines, source: StockPlace, target: StockPlace, *, named: bool = False
    ) -> list[ledger.Line]:
        """By lot where lots were noted; else by product, as they leave a place by its rule."""
        if named:
            return [
                ledger.Line(
                    self.books.products[lot.product_code], count, source, target, self._lots[lot]
                )
                for lot, count in lines
            ]
        sums: dict[str, int] = defaultdict(int)
        for lot, count in lines:
            sums[lot.product_code] += count
        return [
            ledger.Line(self.books.products[code], count, source, target)
            for code, count in sums.items()
        ]

    def _know(self, lines: Iterable[tuple[Lot, int]]) -> None:
        """Find the rows of lots, or make them."""
        new = {lot for lot, _ in lines} - self._lots.keys()
        stock.Lot.objects.bulk_create(
            (
                stock.Lot(
                    product=self.books.products[lot.product_code],
                    code=lot.code,
                    best_before=lot.best_before,
                )
                for lot in sorted(new)
            ),
            ignore_conflicts=True,
        )
        codes = {row.pk: code for code, row in self.books.products.items()}
        for row in stock.Lot.objects.filter(code__in={lot.code for lot in new}):
            if row.best_before is not None:
                self._lots[Lot(codes[row.product_id], row.code, row.best_before)] = row


def _of(told: Iterable[Happening], kind: type[Told]) -> list[Told]:
    return [one for one in told if isinstance(one, kind)]


def _evening(day: date) -> datetime:
    return datetime.combine(day, IN_THE_EVENING, tzinfo=ZoneInfo(EAST))
