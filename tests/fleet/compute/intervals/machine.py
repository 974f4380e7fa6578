"""An invented vending machine that only counts: it sells, is read, and its true sales are kept.

Beside the reads it keeps the true counts, without any width, so that tests have something to
check the intervals against that no interval arithmetic has touched.
"""

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta

from fleet.compute.intervals.figures import (
    LINE_FIGURES,
    TOTAL_FIGURES,
    TOTAL_INDEX,
    line_counters,
    total_counters,
)
from fleet.compute.intervals.snapshot import PaymentReading, SelectionReading, Snapshot

START = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)


@dataclass
class Counts:
    """True counts of one selection: cash, cashless, test and free vends, and the money."""

    cash: int = 0
    cash_minor: int = 0
    cashless: int = 0
    cashless_minor: int = 0
    test: int = 0
    test_minor: int = 0
    free: int = 0

    @property
    def paid(self) -> int:
        return self.cash + self.cashless

    @property
    def paid_minor(self) -> int:
        return self.cash_minor + self.cashless_minor


@dataclass
class Machine:
    """Sells by `vend`, is read by `read`. Counters wrap at the standard's widths."""

    prices: dict[str, int]
    counts: dict[str, Counts] = field(default_factory=dict)
    now: datetime = START
    reads: int = 0
    serial: str | None = "BOARD-1"
    coin_serial: str | None = "COIN-1"
    coin_counts: Counts = field(default_factory=Counts)
    cashless_counts: Counts = field(default_factory=Counts)

    def __post_init__(self) -> None:
        for selection in self.prices:
            self.counts.setdefault(selection, Counts())

    def vend(self, selection: str, how: str = "cash", times: int = 1) -> None:
        """Sell `times` of a selection: cash, cashless, test or free."""
        counts, money = self.counts[selection], self.prices[selection] * times
        for each in (counts, self.coin_counts if how == "cash" else self.cashless_counts):
            if how == "cash":
                each.cash += times
                each.cash_minor += money
            elif how == "cashless":
                each.cashless += times
                each.cashless_minor += money
        if how == "test":
            counts.test += times
            counts.test_minor += money
        elif how == "free":
            counts.free += times

    def pass_time(self, hours: float = 24) -> None:
        self.now += timedelta(hours=hours)

    def swap_board(self, serial: str | None = "BOARD-2") -> None:
        """Another board: its counters start from zero; the payment devices keep theirs."""
        self.counts = {selection: Counts() for selection in self.prices}
        self.serial = serial
        self.reads = 0

    def read(
        self,
        key: str,
        *,
        delay: timedelta = timedelta(0),
        clock_error: timedelta = timedelta(0),
        clock: bool = True,
        **changes: object,
    ) -> Snapshot:
        """What an audit file read now would say, received `delay` later."""
        self.reads += 1
        every = list(self.counts.values())
        totals = total_counters(
            paid_count=sum(each.paid for each in every),
            paid_value_minor=sum(each.paid_minor for each in every),
            test_count=sum(each.test for each in every),
            test_value_minor=sum(each.test_minor for each in every),
            free_count=sum(each.free for each in every),
            free_value_minor=0,
            cash_count=self.coin_counts.cash,
            cash_value_minor=self.coin_counts.cash_minor,
            cashless_1_count=self.cashless_counts.cashless,
            cashless_1_value_minor=self.cashless_counts.cashless_minor,
        )
        values: dict[str, object] = {
            "key": key,
            "received_at": self.now + delay,
            "machine_clock": (self.now + clock_error).replace(tzinfo=None) if clock else None,
            "reads_counter": self.reads,
            "board_serial": self.serial,
            "coin_serial": self.coin_serial,
            "currency": "EUR",
            "exponent_stated": True,
            "totals": shown(totals, TOTAL_FIGURES),
            "selections": tuple(self._selection(id_) for id_ in self.prices),
        }
        return Snapshot(**{**values, **changes})

    def _selection(self, id_: str) -> SelectionReading:
        counts, price = self.counts[id_], self.prices[id_]
        ever = line_counters(
            paid_count=counts.paid,
            paid_value_minor=counts.paid_minor,
            test_count=counts.test,
            test_value_minor=counts.test_minor,
            free_count=counts.free,
            free_value_minor=0,
        )
        width = 10**8
        return SelectionReading(
            selection=id_,
            price_minor=price,
            ever=shown(ever, LINE_FIGURES),
            payments=(
                PaymentReading("CA", 0, price, counts.cash % width, counts.cash_minor % width),
                PaymentReading(
                    "DA", 1, price, counts.cashless % width, counts.cashless_minor % width
                ),
            ),
        )


def shown(counters, figures):
    """Counters as a display of their width shows them."""
    return tuple(
        None if value is None else value % figure.modulus
        for value, figure in zip(counters, figures, strict=True)
    )


def small(**changes: object) -> Machine:
    """Two selections: 11 at 1.20 and 12 at 1.50."""
    return Machine(prices={"11": 120, "12": 150}, **changes)


def with_total(snapshot, **totals):
    values = list(snapshot.totals)
    for name, value in totals.items():
        values[TOTAL_INDEX[name]] = value
    return replace(snapshot, totals=tuple(values))


def with_line(snapshot, which, /, **changes):
    lines = tuple(
        replace(line, **changes) if line.selection == which else line
        for line in snapshot.selections
    )
    return replace(snapshot, selections=lines)


def only(snapshot, *selections):
    lines = tuple(line for line in snapshot.selections if line.selection in selections)
    return replace(snapshot, selections=lines)


def a_day():
    """Two reads of one machine a day apart: 11 sold 3 cash and 2 cashless, 12 sold 4 cash."""
    machine = small()
    machine.vend("11", times=100)
    machine.vend("12", "cashless", times=50)
    before = machine.read("a")
    machine.vend("11", times=3)
    machine.vend("11", "cashless", times=2)
    machine.vend("12", times=4)
    machine.vend("12", "test", times=2)
    machine.vend("12", "free")
    machine.pass_time()
    return machine, before, machine.read("b")
