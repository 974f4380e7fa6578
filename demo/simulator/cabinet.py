"""One machine with its columns, board, coin unit and card reader, as customers meet it."""

from __future__ import annotations

from datetime import datetime
from random import Random
from zoneinfo import ZoneInfo

from demo.business.shapes import Business, Kind, Machine, SetUp
from demo.simulator.board import CASH_LINE, CASHLESS_LINE, ControlBoard
from demo.simulator.cases import Case
from demo.simulator.cash import CashUnit
from demo.simulator.cashless import CardReader
from demo.simulator.clock import Clock
from demo.simulator.columns import Column
from demo.simulator.demand import SECOND_CHOICE_SHARE, Customers
from demo.simulator.report import Shelf
from demo.simulator.truth import Emptied, MachineTruth, TurnedAway, Vend

COIN_JAM = "EAU_000C"
# Where cards are not taken, this share of those who would have used one finds cash.
_FINDS_CASH_SHARE = 0.6
_CASHLESS_PRICE_LIST = 1


class Cabinet:
    """State and truth of one machine. Moments passed in are by the site's wall clock."""

    def __init__(
        self,
        *,
        business: Business,
        machine: Machine,
        case: Case,
        kind: Kind,
        zone: ZoneInfo,
        clock: Clock,
        customers: Customers,
        board: ControlBoard,
        cash: CashUnit | None,
        card_reader: CardReader | None,
        set_ups: dict[str, SetUp],
        random: Random,
    ) -> None:
        self.machine = machine
        self.case = case
        self.kind = kind
        self.clock = clock
        self.customers = customers
        self.board = board
        self.cash = cash
        self.card_reader = card_reader
        self.random = random
        self.truth = MachineTruth(machine.asset_tag)
        self.columns = {label: Column(label, set_up) for label, set_up in set_ups.items()}
        self.buttons = {
            button.code: tuple(self.columns[label] for label in button.columns)
            for button in kind.buttons
        }
        self.coins_jammed = False
        self.price_off_minor = dict.fromkeys(self.buttons, 0)
        self._zone = zone
        self._turn = dict.fromkeys(self.buttons, 0)
        self._names = {product.code: product.name for product in business.products}

    def aware(self, at: datetime) -> datetime:
        return at.replace(tzinfo=self._zone)

    def price_minor(self, code: str) -> int:
        """What the board asks, whatever the books say."""
        return self.buttons[code][0].set_up.price_minor + self.price_off_minor[code]

    def offered(self) -> dict[str, str]:
        """What the buttons show: selection to product, whether it can be had or not."""
        return {code: columns[0].set_up.product_code for code, columns in self.buttons.items()}

    def customer(self, at: datetime) -> None:
        """Somebody comes up, wants something, and may take something else instead."""
        offered = self.offered()
        wanted = self.customers.choose(offered)
        if wanted is None or self._serve(wanted, at):
            return
        self.truth.turned_away.append(TurnedAway(self.aware(at), wanted))
        if self.random.random() < SECOND_CHOICE_SHARE:
            other = self.customers.choose(offered, besides=wanted)
            if other is not None:
                self._serve(other, at)

    def test_vend(self, code: str, column: Column, at: datetime) -> None:
        """The driver drops one from a column without paying."""
        price_minor = self.price_minor(code)
        self._dropped(code, column, at, how="test", device=None, price_minor=price_minor)
        self.board.tested[code].add(price_minor)

    def shelves(self) -> dict[str, Shelf]:
        return {
            code: Shelf(
                price_minor=self.price_minor(code),
                name=self._names[columns[0].set_up.product_code],
                capacity=sum(column.set_up.capacity for column in columns),
                level=sum(column.stock for column in columns),
            )
            for code, columns in self.buttons.items()
        }

    def reset(self) -> None:
        """Every counter since the last reset goes to nought."""
        self.board.reset()
        if self.cash is not None:
            self.cash.reset()
        if self.card_reader is not None:
            self.card_reader.reset()

    def _serve(self, code: str, at: datetime) -> bool:
        column = self._next_column(code, at)
        if column is None:
            mark = self.board.sold_out.get(code)
            if mark is not None:
                mark.asked += 1
            return False
        price_minor = self.price_minor(code)
        if self.case.free_share and self.random.random() < self.case.free_share:
            self._dropped(code, column, at, how="free", device=None, price_minor=price_minor)
            self.board.free[code].add(price_minor)
            return True
        device = self._pay(code, price_minor)
        if device is None:
            return False
        if device == CASHLESS_LINE:
            price_minor -= self.case.cashless_discount_minor
        self._dropped(code, column, at, how="paid", device=device, price_minor=price_minor)
        return True

    def _next_column(self, code: str, at: datetime) -> Column | None:
        """The columns behind a button take turns; one that comes too late is passed over."""
        columns = self.buttons[code]
        for step in range(len(columns)):
            place = (self._turn[code] + step) % len(columns)
            column = columns[place]
            if not column.offers:
                continue
            if column.is_stuck(self.kind):
                column.taken_for_empty = True
                self.truth.emptied.append(Emptied(self.aware(at), code, column.label, false=True))
                continue
            self._turn[code] = place + 1
            return column
        self.board.mark_sold_out(code, self.clock.shows(at))
        return None

    def _pay(self, code: str, price_minor: int) -> str | None:
        """Money in; the device that took it, None when the customer goes away with it."""
        in_cash = self.random.random() < self.customers.cash_share
        if not in_cash and self.card_reader is None:
            in_cash = self.random.random() < _FINDS_CASH_SHARE
            if not in_cash:
                return None
        if in_cash and self.cash is None:
            in_cash = False
        if in_cash and self.cash is not None:
            if self.coins_jammed or not self.cash.sell(price_minor, self.random):
                return None
            self.board.book_paid(code, CASH_LINE, 0, price_minor)
            return CASH_LINE
        if self.card_reader is None:
            return None
        less = self.case.cashless_discount_minor
        self.card_reader.sales.add(price_minor - less)
        if less:
            self.card_reader.discounts.add(less)
            self.board.discounts[code].add(less)
        self.board.book_paid(code, CASHLESS_LINE, _CASHLESS_PRICE_LIST, price_minor - less)
        return CASHLESS_LINE

    def _dropped(
        self,
        code: str,
        column: Column,
        at: datetime,
        *,
        how: str,
        device: str | None,
        price_minor: int,
    ) -> None:
        fell = column.drop(self.kind, self.random)
        moment = self.aware(at)
        self.truth.vends.append(
            Vend(
                at=moment,
                selection=code,
                column=column.label,
                product_code=column.set_up.product_code,
                how=how,
                device=device,
                price_minor=price_minor,
                dropped=fell,
            )
        )
        if column.stock == 0:
            self.truth.emptied.append(Emptied(moment, code, column.label, false=False))
        if not any(one.offers for one in self.buttons[code]):
            self.board.mark_sold_out(code, self.clock.shows(at))
