"""The way of cash after the seal: received, counted, banked, confirmed, and where it is not so."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

from demo.books import Books
from demo.business.people import EAST
from demo.facts import cents
from demo.simulator.truth import Truth, Visit
from fleet.sales.actions import bankings, custody, floats
from fleet.sales.actions.bags import PastCount, count_bag, write_down_counts
from fleet.sales.actions.counting import Counted
from fleet.sales.models import Bag, BagCountLine, BagStep, Banking, HostFloatLine, TubeFill
from fleet.sales.queries.bags import COUNTED, bags_placed
from people.models import Person

Kind, How = BagCountLine.Kind, BagCountLine.How
COUNTED_AFTER = timedelta(hours=20)
RECEIVED_AFTER = timedelta(hours=7)
RECEIVED_DAYS = 21
"""So far back it was written down that bags came in; before that only that they were counted."""
BY_PIECE_DAYS = 3
FAR_DRIVER = "dorian@marrowby.example.org"
TUBES_DAYS = 28
MONEY_COMES = time(16, 0)
CONFIRMED_AFTER = timedelta(days=2)
SHORT_NOTE = Decimal(-20)
MISSING_BETWEEN = (timedelta(days=10), timedelta(days=13))
# The pieces that a count finds: notes first, then what is left over in coins. In cents.
NOTES, COINS = (500, 100), (25, 10, 5)
# Out of the change that two hosts keep for refunds: what, when (days ago), how much, why.
FLOATS = (
    ("S06", HostFloatLine.What.PUT_IN, 40, "20.00", "change for refunds, at the front desk"),
    ("S06", HostFloatLine.What.REFUND, 31, "1.50", "a can that hung"),
    ("S06", HostFloatLine.What.REFUND, 12, "2.25", "paid twice for chips"),
    ("S06", HostFloatLine.What.COUNTED, 5, "16.00", "a quarter short"),
    ("S24", HostFloatLine.What.PUT_IN, 33, "10.00", "change for refunds, in the porter's box"),
    ("S24", HostFloatLine.What.REFUND, 9, "2.50", "nothing came"),
)


class Banked:
    """Writes what became of the bags that drivers sealed. One is missing; those of the last day on
    the road are not counted yet, and those of one driver not even received."""

    def __init__(self, books: Books, truth: Truth) -> None:
        self._books = books
        self._now = books.now
        self._found = {
            visit.seal: visit.counted_minor
            for tag in books.machines
            for visit in truth[tag].visits
            if visit.seal
        }
        self._visits: list[tuple[str, Visit]] = [
            (tag, visit) for tag in books.machines for visit in truth[tag].visits
        ]
        self._accountant = next(p for p in books.people.values() if "accountant" in p.roles)

    def write(self) -> int:
        """How many bags are at the bank."""
        bags = list(Bag.objects.order_by("sealed_at", "pk"))
        last = max((self._day(bag) for bag in bags), default=None)
        self._receive(bag for bag in bags if self._day(bag) != last or not self._is_far(bag))
        counted = [bag for bag in self._miss_one(bags) if self._day(bag) != last]
        self._count(counted)
        self._bank()
        self._change()
        return bags_placed().filter(state="banked").count()

    def _day(self, bag: Bag) -> date:
        return bag.sealed_at.astimezone(ZoneInfo(EAST)).date()

    def _is_far(self, bag: Bag) -> bool:
        """Whether it comes by the other store, a day later."""
        return bag.sealed_by_id == self._books.people[FAR_DRIVER].pk

    def _receive(self, bags: Iterable[Bag]) -> None:
        """Driver by driver, as the trucks came home."""
        since = self._now - timedelta(days=RECEIVED_DAYS)
        came: dict[tuple[int, datetime], list[Bag]] = defaultdict(list)
        for bag in bags:
            if since < bag.sealed_at < self._now - RECEIVED_AFTER:
                came[bag.sealed_by_id, self._evening(bag.sealed_at)].append(bag)
        for (_, evening), those in sorted(came.items(), key=lambda one: (one[0][1], one[0][0])):
            custody.receive_bags(
                bags=those,
                at=min(evening, self._now),
                second=those[0].sealed_by,
                actor=self._books.dispatcher,
                now=self._now,
            )

    def _miss_one(self, bags: Sequence[Bag]) -> list[Bag]:
        """A bag of a fortnight ago that nobody can find; the others."""
        longest, shortest = MISSING_BETWEEN
        for bag in bags:
            if self._now - shortest < bag.sealed_at < self._now - longest:
                custody.take_step(
                    bag=bag,
                    what=BagStep.What.MISSING,
                    at=bag.sealed_at + COUNTED_AFTER,
                    note="On the list of its run and not in the safe; asked the driver, looked "
                    "through the truck.",
                    actor=self._accountant,
                    now=self._now,
                )
                return [one for one in bags if one.pk != bag.pk]
        return list(bags)

    def _count(self, bags: Iterable[Bag]) -> None:
        """The day after they were sealed, by two people; of the last days piece by piece."""
        by_piece = self._now - timedelta(days=BY_PIECE_DAYS)
        past = []
        for bag in bags:
            if bag.seal_number not in self._found or bag.sealed_at > self._now - COUNTED_AFTER:
                continue
            at, amount = bag.sealed_at + COUNTED_AFTER, self._found[bag.seal_number]
            if bag.sealed_at > by_piece and amount:
                count_bag(
                    bag=bag,
                    lines=list(_pieces(amount)),
                    counted_at=at,
                    second=self._books.dispatcher,
                    actor=self._accountant,
                    now=self._now,
                )
            else:
                past.append(
                    PastCount(
                        bag=bag,
                        amount=cents(amount),
                        counted_at=at,
                        counted_by=self._accountant,
                        second=self._books.dispatcher,
                    )
                )
        write_down_counts(counts=past, actor=self._accountant, now=self._now)

    def _bank(self) -> None:
        """What was counted in a week goes to the bank on its Friday; this week's waits."""
        weeks: dict[datetime, list[Bag]] = defaultdict(list)
        for bag in bags_placed().filter(state=COUNTED).order_by("pk"):
            weeks[self._friday(bag.sealed_at + COUNTED_AFTER)].append(bag)
        slips = [self._slip(at, weeks[at]) for at in sorted(weeks) if at < self._now]
        # The bank has not answered to the last; to the one before it with another amount.
        for ago, slip in enumerate(reversed(slips)):
            if ago:
                self._confirm(slip, max(SHORT_NOTE, -slip.amount) if ago == 1 else Decimal(0))

    def _slip(self, at: datetime, bags: Sequence[Bag]) -> Banking:
        return bankings.bank(
            bags=bags,
            slip_number=f"D{at:%y%m%d}",
            amount=sum((bag.amount - bag.taken for bag in bags), Decimal(0)),
            banked_at=at,
            actor=self._accountant,
            now=self._now,
        )

    def _confirm(self, slip: Banking, off: Decimal) -> None:
        bankings.confirm(
            banking=slip,
            amount=slip.amount + off,
            confirmed_on=min(slip.banked_at + CONFIRMED_AFTER, self._now).date(),
            reference=f"credit {slip.slip_number[1:]}",
            note="one twenty fewer than on the slip; asked the bank to count again" if off else "",
            actor=self._accountant,
            now=self._now,
        )

    def _change(self) -> None:
        """Change put into tubes at visits, and what hosts keep for refunds."""
        since = self._now - timedelta(days=TUBES_DAYS)
        for tag, visit in self._visits:
            if visit.tubes_filled_minor and since < visit.at < self._now:
                floats.fill_tubes(
                    machine=self._books.machines[tag],
                    way=TubeFill.Way.PUT_IN,
                    amount=cents(visit.tubes_filled_minor),
                    at=visit.at,
                    actor=self._driver(visit),
                    now=self._now,
                )
        for code, what, days, amount, note in FLOATS:
            floats.move_float(
                site=self._books.sites[code],
                what=what,
                amount=Decimal(amount),
                at=self._now - timedelta(days=days),
                note=note,
                actor=self._accountant,
                now=self._now,
            )

    def _driver(self, visit: Visit) -> Person:
        return self._books.people[visit.driver_email]

    def _evening(self, at: datetime) -> datetime:
        """When the truck of a visit was home."""
        local = at.astimezone(ZoneInfo(EAST))
        home = local.replace(hour=17, minute=15, second=0, microsecond=0)
        return max(home, local + timedelta(hours=1))

    def _friday(self, at: datetime) -> datetime:
        """The afternoon of the first Friday after a moment."""
        local = at.astimezone(ZoneInfo(EAST))
        day = local.date() + timedelta(days=(4 - local.weekday()) % 7)
        found = datetime.combine(day, MONEY_COMES, tzinfo=ZoneInfo(EAST))
        return found if found > local else found + timedelta(days=7)


def _pieces(amount_minor: int) -> Iterator[Counted]:
    """Notes for about two thirds, quarters and small coins for what is left."""
    left = amount_minor
    for kind, values, share in ((Kind.NOTE, NOTES, (15, 62)), (Kind.COIN, COINS, (100, 100, 100))):
        for value, percent in zip(values, share, strict=True):
            number = left * percent // 100 // value
            left -= number * value
            if number:
                yield Counted(kind, How.BY_COUNT, denomination_minor=value, number=number)
    if left:
        yield Counted(Kind.COIN, How.TOTAL, amount_minor=left)
