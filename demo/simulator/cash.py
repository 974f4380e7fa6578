"""The coin unit with its tubes, and the bill validator beside it. Money in cents."""

from __future__ import annotations

from collections.abc import Mapping
from random import Random

from demo.simulator.tallies import Sold, Tally

COINS = (5, 10, 25, 100)
TUBE_COINS = (5, 10, 25)
TUBE_HOLDS = {5: 90, 10: 110, 25: 140}
TUBES_WANTED = {5: 50, 10: 60, 25: 90}
BILLS = (100, 500)

# Below this the tubes cannot promise change, and the display says so.
EXACT_CHANGE_BELOW_MINOR = 200
# The most that a customer in a hurry forgives.
FORGIVEN_MINOR = 25
# A driver tops the tubes up below this, so that a visit leaves enough change behind.
TOP_UP_BELOW_MINOR = 1500


class CashUnit:
    """What it took, where the money went, and what it gave back.

    The identity kept by every movement: in - out = sales + filled - paid out by hand + overpay,
    and tubes in - out = what lies in the tubes.
    """

    def __init__(self, serial: str, bill_serial: str) -> None:
        self.serial = serial
        self.bill_serial = bill_serial
        self.sales = Sold()
        self.overpaid = Tally()
        self.sold_without_change = Tally()
        self.to_box = {coin: Tally() for coin in COINS}
        self.to_tubes = {coin: Tally() for coin in TUBE_COINS}
        self.out = {coin: Tally() for coin in TUBE_COINS}
        self.out_by_hand = {coin: Tally() for coin in TUBE_COINS}
        self.filled = {coin: Tally() for coin in TUBE_COINS}
        self.validated = {bill: Tally() for bill in BILLS}
        self.stacked = {bill: Tally() for bill in BILLS}
        self.tubes = dict.fromkeys(TUBE_COINS, 0)
        self.uncollected_minor = 0

    def reset(self) -> None:
        """A reader resets the counters since the last reset; the tubes keep their coins."""
        self.sales.reset()
        self.overpaid.reset()
        self.sold_without_change.reset()
        for tallies in (
            self.to_box,
            self.to_tubes,
            self.out,
            self.out_by_hand,
            self.filled,
            self.validated,
            self.stacked,
        ):
            for tally in tallies.values():
                tally.reset()

    @property
    def tubes_minor(self) -> int:
        return sum(coin * count for coin, count in self.tubes.items())

    @property
    def wants_exact_change(self) -> bool:
        return self.tubes_minor < EXACT_CHANGE_BELOW_MINOR

    def sell(self, price_minor: int, random: Random) -> bool:
        """A customer pays in cash; False when the money was handed back for want of change."""
        if random.random() < 0.6:
            return self._sell_for_bills(price_minor, random)
        return self._sell_for_coins(price_minor, random)

    def fill_tubes(self) -> int:
        """Coins put into the tubes from the top, counted as they fall; the value put in."""
        before = self.tubes_minor
        for coin, wanted in TUBES_WANTED.items():
            for _ in range(max(0, wanted - self.tubes[coin])):
                self._coin_in(coin)
                self.filled[coin].add(1)
        return self.tubes_minor - before

    def pay_out_by_hand(self, coin: int, count: int) -> None:
        """Coins let out at the coin unit's own buttons."""
        count = min(count, self.tubes[coin])
        self.tubes[coin] -= count
        self.out[coin].add(count)
        self.out_by_hand[coin].add(count)

    def collect(self) -> int:
        """Empty box and bills into a bag; what the meter says should be in it."""
        collected, self.uncollected_minor = self.uncollected_minor, 0
        return collected

    def _coin_in(self, coin: int) -> None:
        if coin in self.tubes and self.tubes[coin] < TUBE_HOLDS[coin]:
            self.tubes[coin] += 1
            self.to_tubes[coin].add(1)
        else:
            self.to_box[coin].add(1)
            self.uncollected_minor += coin

    def _sell_for_bills(self, price_minor: int, random: Random) -> bool:
        ones = -(-price_minor // 100)
        notes = {500: 1} if price_minor <= 500 and random.random() < 0.2 else {100: ones}
        for bill, count in notes.items():
            self.validated[bill].add(count)
        inserted = sum(bill * count for bill, count in notes.items())
        change, short = self._change_for(inserted - price_minor)
        if short and (short > FORGIVEN_MINOR or random.random() < 0.6):
            return False
        without_change = self.wants_exact_change
        for bill, count in notes.items():
            self.stacked[bill].add(count)
        self.uncollected_minor += inserted
        self._give(change)
        self._book(price_minor, short, without_change=without_change)
        return True

    def _sell_for_coins(self, price_minor: int, random: Random) -> bool:
        left = price_minor
        coins: list[int] = []
        if random.random() < 0.06 and left >= 100:
            coins.append(100)
            left -= 100
        for coin in (25, 10, 5):
            coins += [coin] * (left // coin)
            left %= coin
        if coins[-1] != 25 and random.random() < 0.5:
            # Out of small coins: another quarter, and change back.
            coins = [coin for coin in coins if coin >= 25]
            coins.append(25)
        inserted = sum(coins)
        change, short = self._change_for(inserted - price_minor)
        if short:
            return False
        without_change = self.wants_exact_change
        for coin in coins:
            self._coin_in(coin)
        self._give(change)
        self._book(price_minor, 0, without_change=without_change)
        return True

    def _book(self, price_minor: int, overpaid_minor: int, *, without_change: bool) -> None:
        self.sales.add(price_minor)
        if overpaid_minor:
            self.overpaid.add(overpaid_minor)
        if without_change:
            self.sold_without_change.add(price_minor)

    def _change_for(self, amount_minor: int) -> tuple[dict[int, int], int]:
        """Coins for an amount, largest first, and what is short of it."""
        best: dict[int, int] = {}
        short = amount_minor
        most = min(amount_minor // 25, self.tubes[25])
        # One quarter fewer can be what makes the small coins come out even.
        for quarters in range(most, max(most - 2, -1), -1):
            change = {25: quarters}
            left = amount_minor - 25 * quarters
            for coin in (10, 5):
                change[coin] = min(left // coin, self.tubes[coin])
                left -= coin * change[coin]
            if left < short or not best:
                best, short = change, left
            if not short:
                break
        return best, short

    def _give(self, change: Mapping[int, int]) -> None:
        for coin, count in change.items():
            self.tubes[coin] -= count
            self.out[coin].add(count)


def live_through(unit: CashUnit, sales: Sold, random: Random) -> None:
    """Give a unit the counters of its years in service, so that every identity holds.

    `sales` is what it has sold for cash. Box and bills are what the identity leaves for them.
    Raises ValueError where the sales are too small to have filled the tubes.
    """
    unit.sales = Sold(sales.count.ever, sales.value.ever)
    value = sales.value.ever
    change_counts = {25: value * 3 // 1000, 10: value // 500, 5: value // 900}
    by_hand = {25: random.randrange(4, 40), 10: 0, 5: random.randrange(0, 20)}
    for coin in TUBE_COINS:
        unit.tubes[coin] = random.randrange(TUBES_WANTED[coin] // 2, TUBES_WANTED[coin])
        out = change_counts[coin] + by_hand[coin]
        unit.out[coin] = Tally(out)
        unit.out_by_hand[coin] = Tally(by_hand[coin])
        unit.to_tubes[coin] = Tally(unit.tubes[coin] + out)
        unit.filled[coin] = Tally(min(TUBES_WANTED[coin] * 2, unit.tubes[coin] + out))
    unit.overpaid = Tally(5 * random.randrange(0, 60))
    unit.sold_without_change = Tally(sales.value.ever // 400 * 5)
    filled = sum(coin * tally.ever for coin, tally in unit.filled.items())
    handed_out = sum(coin * tally.ever for coin, tally in unit.out_by_hand.items())
    rest = value + filled - handed_out + unit.overpaid.ever - unit.tubes_minor
    if rest < 0:
        raise ValueError(f"{unit.serial}: {value} cents of sales are too few for what it gave out")
    fives = rest * 15 // 100 // 500
    ones = rest * 50 // 100 // 100
    for bill, count in ((500, fives), (100, ones)):
        unit.stacked[bill] = Tally(count)
        unit.validated[bill] = Tally(count + count // 40)
    coins_left = rest - 500 * fives - 100 * ones
    for coin, share in ((100, 4), (25, 80), (10, 70), (5, 100)):
        count = coins_left * share // 100 // coin
        unit.to_box[coin] = Tally(count)
        coins_left -= coin * count
    if coins_left:
        raise ValueError(f"{unit.serial}: {coins_left} cents left over; prices go by five cents")
