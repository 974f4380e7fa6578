"""The days of one machine, one after another: nights read, customers, visits, trouble."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date, datetime, time, timedelta
from functools import partial
from random import Random
from zoneinfo import ZoneInfo

from demo.business.kinds import SPIRAL
from demo.business.machines import CASH, CASHLESS, NIGHTLY
from demo.business.set_ups import next_visit_day, visit_day
from demo.business.shapes import Business, Machine, SetUp
from demo.simulator.board import ControlBoard
from demo.simulator.cabinet import COIN_JAM, Cabinet
from demo.simulator.cases import Case
from demo.simulator.cash import CashUnit
from demo.simulator.cashless import CardReader
from demo.simulator.clock import Clock
from demo.simulator.demand import Customers
from demo.simulator.files import ReadPlan, SimulatedFile, deliver, read
from demo.simulator.goods import Lot
from demo.simulator.history import give_history
from demo.simulator.rounds import Stop
from demo.simulator.trucks import Supply
from demo.simulator.truth import COINS, JAM, POWER, Trouble
from demo.simulator.visits import visit

HANDHELD = "HH000003"
_NO_SIGNAL_SHARE = 0.012
_COIN_JAM_A_DAY = 0.004
_POWER_OUTAGE_A_DAY = 0.004
POWER_CUT = "OCF"
_OUTAGE_MIN = 24
# Coins that stick in a bag or roll away: now and then a count is a few off.
_COUNTS_OFF_SHARE = 0.06
_COLD_C = 3.6
_WARM_C = 13.5
NOT_COOLING = "EJJ"
# What lay in the columns at the start had this much of its shelf life left.
_LIFE_LEFT_SHARES = (0.35, 0.85)

Act = tuple[datetime, Callable[[], None]]
WallClockAct = tuple[datetime, Callable[[datetime], None]]


class MachineWeeks:
    """Simulates one machine from `first_day` on, and at dawn of `until` reads it a last time."""

    def __init__(
        self,
        *,
        business: Business,
        machine: Machine,
        case: Case,
        set_ups: tuple[SetUp, ...],
        first_day: date,
        until: date,
        seed: int,
        supply: Supply,
    ) -> None:
        self.machine = machine
        self.first_day = first_day
        self._supply = supply
        self._site = business.site(machine.site_code)
        self._case = case
        self.machine = machine
        # Parts bear serials made from the machine's tag, so that each is told apart.
        self._number = int("".join(letter for letter in machine.asset_tag if letter.isdigit()))
        self.first_day = first_day
        self._until = until
        self._set_ups: dict[str, list[SetUp]] = {}
        for set_up in set_ups:
            self._set_ups.setdefault(set_up.column, []).append(set_up)
        # Seeded by the tag, so that one machine's luck does not hang on another's.
        self._random = Random(f"{seed}:{machine.asset_tag}")
        self._dawn = time(self._random.randrange(3, 5), self._random.randrange(5, 55))
        self._files: list[SimulatedFile] = []
        self._lots = Random(f"{seed}:{machine.asset_tag}:lots")
        self._bags = Random(f"{seed}:{machine.asset_tag}:bags")
        self._shelf_life_days = {one.code: one.shelf_life_days for one in business.products}
        self.cabinet = self._cabinet(business, seed)

    def acts(self, day: date, stop: Stop | None) -> list[Act]:
        """What happens on a day, in order; on the last, only the night's read is left."""
        if day == self._until:
            if self.machine.reads != NIGHTLY:
                return []
            acts: list[WallClockAct] = [(datetime.combine(day, self._dawn), self._night_read)]
        else:
            acts = sorted(self._acts(day, stop), key=lambda step: step[0])
        return [(self.cabinet.aware(at), partial(act, at)) for at, act in acts]

    def selling(self, day: date) -> dict[str, tuple[str, int]]:
        """What each column shall hold after a visit on a day: the product, and how many."""
        return {
            column: (set_up.product_code, set_up.capacity)
            for column, set_up in self._to_leave(day).items()
        }

    def is_shut(self, day: date) -> bool:
        """Whether nobody is at the site on a day."""
        shut = self._case.shut
        return shut is not None and shut.holds((self._until - day).days)

    def end(self) -> None:
        """Keep what is left in the columns."""
        for column in self.cabinet.columns.values():
            self.cabinet.truth.held[column.label] = column.lines()

    def take_files(self) -> list[SimulatedFile]:
        """Those written since the last time they were taken."""
        taken, self._files = self._files, []
        return taken

    def _cabinet(self, business: Business, seed: int) -> Cabinet:
        machine, random = self.machine, self._random
        kind = business.kind(machine.kind_name)
        midnight = datetime.combine(self.first_day, time())
        number = self._number
        board = ControlBoard(
            serial=f"ZZZ9{number:05d}",
            initialised_at=datetime.combine(machine.placed_on, time(9, 30)),
            buttons=(button.code for button in kind.buttons),
        )
        cash = (
            CashUnit(f"ZZZ5{number:05d}", f"ZZZ6{number:05d}") if CASH in machine.payments else None
        )
        card_reader = CardReader(f"ZZZ3{number:05d}") if CASHLESS in machine.payments else None
        customers = Customers(business, machine=machine, site=self._site, seed=seed, random=random)
        in_columns = self._in_columns(self.first_day)
        give_history(
            machine=machine,
            case=self._case,
            today={button.code: in_columns[button.columns[0]] for button in kind.buttons},
            day=self.first_day,
            vends_per_day=customers.visitors_per_day * 0.75,
            cash_share=customers.cash_share,
            board=board,
            cash=cash,
            reader=card_reader,
            random=random,
        )
        lost = self._case.clock_lost
        cabinet = Cabinet(
            business=business,
            machine=machine,
            case=self._case,
            kind=kind,
            zone=ZoneInfo(self._site.time_zone),
            clock=Clock(
                set_at=midnight,
                gains_s_per_day=self._case.clock_gains_s_per_day,
                lost_at=None if lost is None else self._day_before(lost, time(12, 20)),
            ),
            customers=customers,
            board=board,
            cash=cash,
            card_reader=card_reader,
            set_ups=in_columns,
            random=random,
        )
        for column in cabinet.columns.values():
            capacity = column.set_up.capacity
            lot = self._lot_at_the_start(column.set_up.product_code)
            column.put([(lot, random.randint(capacity // 2, capacity))])
            cabinet.truth.opened[column.label] = column.lines()
        wrong = self._case.wrong_program
        if wrong is not None and self._work_day(wrong.days_before) < self.first_day:
            cabinet.columns[wrong.column].programmed = wrong.program
        return cabinet

    def _lot_at_the_start(self, product_code: str) -> Lot:
        left = self._lots.uniform(*_LIFE_LEFT_SHARES) * self._shelf_life_days[product_code]
        best_before = self.first_day + timedelta(days=int(left))
        return Lot(product_code, f"{best_before:%y%j}S", best_before)

    def _in_columns(self, day: date) -> dict[str, SetUp]:
        """What lies in each column before a day's visit."""
        return {
            column: next(
                (set_up for set_up in reversed(history) if set_up.starts < day), history[0]
            )
            for column, history in self._set_ups.items()
        }

    def _to_leave(self, day: date) -> dict[str, SetUp]:
        """What a visit on a day leaves behind."""
        return {
            column: next(set_up for set_up in history if set_up.holds_on(day))
            for column, history in self._set_ups.items()
        }

    def _day_before(self, days: int, at: time) -> datetime:
        return datetime.combine(self._until - timedelta(days=days), at)

    def _work_day(self, days_before: int) -> date:
        return visit_day(self.machine, self._until - timedelta(days=days_before))

    def _acts(self, day: date, stop: Stop | None) -> Iterator[WallClockAct]:
        random = self._random
        if self.machine.reads == NIGHTLY and (day > self.machine.placed_on):
            yield datetime.combine(day, self._dawn), self._night_read
        if stop is not None:
            yield stop.arrives, partial(self._visit, stop)
        if random.random() < _COIN_JAM_A_DAY and self.cabinet.cash is not None:
            yield datetime.combine(day, time(random.randrange(8, 17), 7)), self._jam
        if random.random() < _POWER_OUTAGE_A_DAY:
            yield datetime.combine(day, time(random.randrange(5, 22), 31)), self._power_outage
        yield from self._troubles(day)
        if self.is_shut(day):
            return
        for arrival in self.cabinet.customers.arrivals(day):
            yield arrival, self.cabinet.customer

    def _troubles(self, day: date) -> Iterator[WallClockAct]:
        case, days_before = self._case, (self._until - day).days
        if case.warm_since == days_before:
            yield datetime.combine(day, time(2, 40)), self._stop_cooling
        for jam in case.jams:
            if jam.days_before == days_before:
                yield datetime.combine(day, time(10, 20)), partial(self._jam_column, jam.column)
        if days_before in case.power_lost:
            yield datetime.combine(day, time(1, 13 + days_before % 7)), self._power_outage
        unliked = case.no_longer_liked
        if unliked is not None and days_before == unliked.days_before:
            yield datetime.combine(day, time(4, 58)), partial(self._turn_from, unliked.button)

    def _jam_column(self, label: str, at: datetime) -> None:
        self.cabinet.columns[label].jammed = True
        self._note(at, JAM, label)

    def _turn_from(self, button: str, at: datetime) -> None:
        del at
        self.cabinet.customers.turned_from.add(button)

    def _note(self, at: datetime, what: str, column: str = "") -> None:
        self.cabinet.truth.troubles.append(Trouble(self.cabinet.aware(at), what, column))

    def _jam(self, at: datetime) -> None:
        self.cabinet.coins_jammed = True
        self._note(at, COINS)
        self.cabinet.board.begin(COIN_JAM, self.cabinet.clock.shows(at))

    def _power_outage(self, at: datetime) -> None:
        board = self.cabinet.board
        board.power_outages.add(1)
        board.note(POWER_CUT, self.cabinet.clock.shows(at), _OUTAGE_MIN)
        self._note(at, POWER)

    def _stop_cooling(self, at: datetime) -> None:
        self.cabinet.board.begin(NOT_COOLING, self.cabinet.clock.shows(at))

    def _temperature_c(self, day: date) -> float | None:
        if self.machine.kind_name == SPIRAL:
            return None
        since = self._case.warm_since
        warm = since is not None and (self._until - day).days <= since
        return (_WARM_C if warm else _COLD_C) + self._random.uniform(-0.8, 0.8)

    def _night_read(self, at: datetime) -> None:
        days_before = (self._until - at.date()).days
        lost = self._random.random() < _NO_SIGNAL_SHARE
        case = self._case
        wanted = (case.damaged, case.truncated, case.sent_twice, case.sent_late)
        if lost and days_before not in wanted:
            return
        self._read(
            ReadPlan(
                at=at,
                reader=f"TM{self._number:06d}",
                reset=False,
                sent_after=timedelta(minutes=self._random.randrange(2, 20)),
                temperature_c=self._temperature_c(at.date()),
            )
        )

    def _visit(self, stop: Stop, at: datetime) -> None:
        cabinet = self.cabinet
        day = at.date()
        if self.machine.reads == NIGHTLY:
            # The driver resets at the keypad; nobody reads, so only the resets go up.
            cabinet.reset()
            cabinet.board.resets += 1
        else:
            evening = datetime.combine(day, time(18, 30)) - at
            self._read(
                ReadPlan(
                    at=at,
                    reader=HANDHELD,
                    reset=True,
                    sent_after=max(evening, timedelta(minutes=30)),
                    temperature_c=self._temperature_c(day),
                )
            )
        self._exchange_parts(at)
        self._mend(day)
        visit(
            cabinet,
            stop,
            self._to_leave(day),
            supply=self._supply,
            next_visit=next_visit_day(self.machine, day),
            counts=partial(self._counted, day),
        )

    def _mend(self, day: date) -> None:
        """What this visit mends, and the price that it sets wrong."""
        case = self._case
        for jam in case.jams:
            if jam.mended is not None and day == self._work_day(jam.mended):
                self.cabinet.columns[jam.column].jammed = False
        wrong = case.wrong_price
        if wrong is not None and day == self._work_day(wrong.days_before):
            self.cabinet.price_off_minor[wrong.button] = wrong.more_minor

    def _counted(self, day: date, collected_minor: int) -> int:
        """What two people find in the bag of a day, of what the meter says went into it."""
        short, days_before = self._case.short_bags, (self._until - day).days
        gone = 0
        if short is not None and short.until <= days_before <= short.days_before:
            gone = round(short.share * collected_minor / 25) * 25
        if self._bags.random() < _COUNTS_OFF_SHARE:
            gone += self._bags.choice((-25, -10, 5, 10, 25, 100))
        return max(collected_minor - gone, 0)

    def _exchange_parts(self, at: datetime) -> None:
        cabinet, case, day = self.cabinet, self._case, at.date()
        if case.board_swapped is not None and day == self._work_day(case.board_swapped):
            cabinet.board = ControlBoard(
                serial=f"{cabinet.board.serial[:-1]}X",
                initialised_at=cabinet.clock.shows(at),
                buttons=cabinet.buttons,
            )
        if case.coin_unit_swapped is not None and day == self._work_day(case.coin_unit_swapped):
            old = cabinet.cash
            if old is None:
                raise ValueError(f"{self.machine.asset_tag} has no coin unit to exchange")
            cabinet.cash = CashUnit(f"{old.serial[:-1]}X", old.bill_serial)
            cabinet.cash.fill_tubes()

    def _read(self, plan: ReadPlan) -> None:
        file = read(self.cabinet, plan, self._site.name)
        days_before = (self._until - plan.at.date()).days
        self._files.extend(deliver(file, self.cabinet, days_before))
