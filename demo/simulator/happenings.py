"""What happened to the goods outside the machines: what was so, and what was noted of it.

Times are aware. Where somebody counts or writes down, the noted figure stands beside the true one.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import NamedTuple

from demo.simulator.goods import Lines, Lot

WAREHOUSE = "warehouse"
TRUCK = "truck"
COLUMN = "column"

DAMAGE = "damage"
OUT_OF_DATE = "out of date"


class Place(NamedTuple):
    """A warehouse by its code, a truck by its name, or a column by its machine and label."""

    kind: str
    name: str
    column: str = ""


@dataclass(frozen=True)
class Opened:
    """What was there when the books were opened, as counted with care."""

    at: datetime
    place: Place
    lines: Lines


@dataclass(frozen=True)
class Ordered:
    at: datetime
    number: str
    supplier_code: str
    warehouse_code: str
    cases: tuple[tuple[str, int], ...]


class ReceivedLine(NamedTuple):
    """Units of one lot that came; `ordered` is what should have come of the product."""

    lot: Lot
    ordered: int
    received: int


@dataclass(frozen=True)
class Received:
    at: datetime
    order: Ordered
    lines: tuple[ReceivedLine, ...]


@dataclass(frozen=True)
class Loaded:
    """Onto a truck in the morning; `short` is what the warehouse did not have."""

    at: datetime
    truck: str
    lines: Lines
    short: tuple[tuple[str, int], ...]


@dataclass(frozen=True)
class Unloaded:
    at: datetime
    truck: str
    lines: Lines


@dataclass(frozen=True)
class Wasted:
    """Thrown away and noted. `why` is DAMAGE or OUT_OF_DATE."""

    at: datetime
    place: Place
    lines: Lines
    why: str


@dataclass(frozen=True)
class Lost:
    """Gone, and nobody noticed until the next count."""

    at: datetime
    place: Place
    lines: Lines


class CountedLine(NamedTuple):
    """One product; of one lot where lots were told apart."""

    product_code: str
    lot: Lot | None
    there: int
    noted: int


@dataclass(frozen=True)
class Counted:
    """A truck or a warehouse counted; `whole` says that nothing else was there."""

    at: datetime
    place: Place
    lines: tuple[CountedLine, ...]
    whole: bool


@dataclass(frozen=True)
class Round:
    """One driver's day on the road: when the truck left, what it stopped at, when it was back."""

    day: date
    driver_email: str
    truck: str
    starts: datetime
    leaves: datetime
    back: datetime
    asset_tags: tuple[str, ...]


Happening = Opened | Ordered | Received | Loaded | Unloaded | Wasted | Lost | Counted | Round
