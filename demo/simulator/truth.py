"""What really happened, beside what the machines could tell: for tests to check readers by.

Times are aware, units are whole products, money is in cents.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from dataclasses import dataclass, field
from datetime import date, datetime
from operator import attrgetter
from typing import NamedTuple

from demo.simulator.goods import Lines
from demo.simulator.happenings import Happening, Place


class Vend(NamedTuple):
    """One completed vend. `how` is "paid", "free" or "test"; `device` is None unless paid.

    `dropped` is how many products fell for it: two where the depth program lets a second follow.
    """

    at: datetime
    selection: str
    column: str
    product_code: str
    how: str
    device: str | None
    price_minor: int
    dropped: int


class Emptied(NamedTuple):
    """A column whose last product fell; `false` where the board took a full column for empty."""

    at: datetime
    selection: str
    column: str
    false: bool


class TurnedAway(NamedTuple):
    """A customer who wanted a selection and got none of it, even if another one sold instead."""

    at: datetime
    selection: str


class Trouble(NamedTuple):
    """Something that went wrong at a moment: JAM of a column, COINS that stick, POWER lost."""

    at: datetime
    what: str
    column: str = ""


JAM = "jam"
COINS = "coins"
POWER = "power"


@dataclass(frozen=True)
class Fill:
    """One column at one visit: found, taken out, put in; and what was written down of it.

    `pulled` was taken out at a changeover and `out_of_date` thrown away, as `filled` came from the
    truck; `put_back` are the test vends, laid in again. `was` is the product that was found.
    """

    column: str
    product_code: str
    counted: int
    pulled: int
    filled: int
    was: str
    out_of_date: int
    put_back: int
    lines: Lines
    pulled_lines: Lines
    out_of_date_lines: Lines
    noted_counted: int
    noted_filled: int


@dataclass(frozen=True)
class Visit:
    """One stop at one machine. `collected_minor` went into the bag with the seal, `counted_minor`
    was in it when it was opened.

    `truck` is empty where another's goods were filled in, of which there are no books.
    """

    at: datetime
    leaves: datetime
    driver_email: str
    truck: str
    fills: tuple[Fill, ...]
    collected_minor: int
    tubes_filled_minor: int
    changed_columns: tuple[str, ...]
    seal: str
    spoiled: Lines
    counted_minor: int = 0

    def pulled(self, column: str) -> int:
        """Units taken out of a column at its changeover."""
        return next(fill.pulled for fill in self.fills if fill.column == column)


class ColumnDay(NamedTuple):
    paid: int
    free: int
    test: int
    dropped: int


@dataclass
class MachineTruth:
    """Everything that happened at one machine, in order.

    `opened` and `held` are what lay in each column at the start and at the end.
    """

    asset_tag: str
    vends: list[Vend] = field(default_factory=list)
    emptied: list[Emptied] = field(default_factory=list)
    turned_away: list[TurnedAway] = field(default_factory=list)
    visits: list[Visit] = field(default_factory=list)
    troubles: list[Trouble] = field(default_factory=list)
    opened: dict[str, Lines] = field(default_factory=dict)
    held: dict[str, Lines] = field(default_factory=dict)

    def between(self, starts: datetime, ends: datetime) -> list[Vend]:
        """Vends in [starts, ends): a read comes before what happens at its own second."""
        first = bisect_left(self.vends, starts, key=attrgetter("at"))
        last = bisect_left(self.vends, ends, key=attrgetter("at"))
        return self.vends[first:last]

    def by_column_and_day(self) -> dict[tuple[str, date], ColumnDay]:
        """What each column sold, by the site's own day; days without a vend are left out."""
        sums: dict[tuple[str, date], list[int]] = defaultdict(lambda: [0, 0, 0, 0])
        places = {"paid": 0, "free": 1, "test": 2}
        for vend in self.vends:
            row = sums[vend.column, vend.at.date()]
            row[places[vend.how]] += 1
            row[3] += vend.dropped
        return {key: ColumnDay(*row) for key, row in sums.items()}


@dataclass(frozen=True)
class Truth:
    """Machines by their tag; what happened to the goods outside them; what is left there.

    `happenings` are in the order of their time; `left` is by warehouse and truck.
    """

    machines: dict[str, MachineTruth]
    happenings: tuple[Happening, ...]
    left: dict[Place, Lines]

    def __getitem__(self, asset_tag: str) -> MachineTruth:
        return self.machines[asset_tag]
