"""The troubles of twelve weeks: which machine, what, and how many days before the end."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta

from demo.business.kinds import DOOR_SIDE, ONE_DEEP, TWO_DEEP
from demo.business.machines import CASH, CASHLESS, NIGHTLY, asset_tag
from demo.business.shapes import Machine


@dataclass(frozen=True)
class WrongProgram:
    """A changeover that left the old depth program in the board; the books say otherwise."""

    column: str
    program: str
    days_before: int


@dataclass(frozen=True)
class Jam:
    """A column whose motor turns and drops nothing any more, until a visit mends it, if one does.

    The board takes it for empty each time that it is asked first after a visit.
    """

    column: str
    days_before: int
    mended: int | None = None


@dataclass(frozen=True)
class WrongPrice:
    """A button that asks so much more than the books say, since a visit at which it was set."""

    button: str
    more_minor: int
    days_before: int


@dataclass(frozen=True)
class ShortBags:
    """A share of the cash is gone before bags are counted, from one day to another."""

    share: float
    days_before: int
    until: int = 0


@dataclass(frozen=True)
class NoLongerLiked:
    """A button that people have turned away from: its column is in order, and silent."""

    button: str
    days_before: int


@dataclass(frozen=True)
class Shut:
    """Days on which nobody is at the site, and no driver goes there; the first and the last."""

    days_before: int
    until: int = 0

    def holds(self, days_before: int) -> bool:
        return self.until <= days_before <= self.days_before


@dataclass(frozen=True)
class Case:
    """What is out of the ordinary at one machine. Days count back from the end.

    `value_nearly_full_cents` and `cash_count_nearly_full` say how far a counter stands below its
    last number at the start. `asset_text` replaces the asset number in the file. `power_lost` are
    days on which the power fails by night, for a while.
    """

    board_swapped: int | None = None
    coin_unit_swapped: int | None = None
    value_nearly_full_cents: int | None = None
    cash_count_nearly_full: int | None = None
    clock_gains_s_per_day: int = 0
    clock_lost: int | None = None
    wrong_program: WrongProgram | None = None
    damaged: int | None = None
    truncated: int | None = None
    sent_twice: int | None = None
    sent_late: int | None = None
    check_swapped: bool = False
    line_feeds_only: bool = False
    asset_text: str | None = None
    cashless_discount_minor: int = 0
    free_share: float = 0.0
    warm_since: int | None = None
    jams: tuple[Jam, ...] = ()
    wrong_price: WrongPrice | None = None
    short_bags: ShortBags | None = None
    no_longer_liked: NoLongerLiked | None = None
    power_lost: tuple[int, ...] = ()
    shut: Shut | None = None


# How long after its writing a late file arrives.
LATE_BY = timedelta(days=4)

ORDINARY = Case()

CASES: dict[str, Case] = {
    asset_tag("S07", "C"): Case(board_swapped=31),
    asset_tag("S25", "C"): Case(coin_unit_swapped=45),
    asset_tag("S11", "A"): Case(value_nearly_full_cents=120_000, free_share=0.01),
    asset_tag("S06", "B"): Case(cash_count_nearly_full=250),
    asset_tag("S18", "C"): Case(clock_gains_s_per_day=75),
    asset_tag("S14", "A"): Case(clock_lost=12),
    asset_tag("S12", "C"): Case(wrong_program=WrongProgram("6", ONE_DEEP, 24)),
    asset_tag("S19", "A"): Case(wrong_program=WrongProgram("4", TWO_DEEP, 19)),
    asset_tag("S03", "A"): Case(damaged=20),
    asset_tag("S05", "B"): Case(truncated=9),
    asset_tag("S09", "C"): Case(sent_twice=15),
    asset_tag("S04", "C"): Case(sent_late=10),
    asset_tag("S08", "A"): Case(check_swapped=True),
    asset_tag("S16", "B"): Case(line_feeds_only=True),
    asset_tag("S24", "A"): Case(asset_text=""),
    asset_tag("S32", "B"): Case(asset_text="4294967295"),
    asset_tag("S10", "B"): Case(cashless_discount_minor=10),
    asset_tag("S33", "B"): Case(free_share=0.02),
    asset_tag("S20", "A"): Case(warm_since=6),
    asset_tag("S28", "C"): Case(jams=(Jam("2", 11),)),
    asset_tag("S11", "S"): Case(jams=(Jam("D3", 13),)),
    asset_tag("S27", "C"): Case(jams=(Jam("5", 45, mended=37),)),
    asset_tag("S15", "A"): Case(jams=(Jam("8", 33, mended=27), Jam("3", 62, mended=57))),
    asset_tag("S38", "B"): Case(jams=(Jam("5F", 30, mended=24),)),
    asset_tag("S33", "S"): Case(jams=(Jam("B2", 66, mended=60),)),
    asset_tag("S34", "C"): Case(wrong_price=WrongPrice("4", -25, 9)),
    asset_tag("S11", "B"): Case(short_bags=ShortBags(0.22, 20)),
    asset_tag("S28", "S"): Case(short_bags=ShortBags(0.45, 8, until=5)),
    asset_tag("S12", "S"): Case(no_longer_liked=NoLongerLiked("B3", 16)),
    asset_tag("S31", "C"): Case(no_longer_liked=NoLongerLiked("1", 15)),
    asset_tag("S36", "A"): Case(power_lost=(58, 6, 5, 4, 2, 1)),
    # Autumn holidays: a whole site silent, and nothing wrong with any column of it.
    asset_tag("S35", "A"): Case(shut=Shut(13)),
    asset_tag("S35", "S"): Case(shut=Shut(13)),
    asset_tag("S29", "B"): Case(shut=Shut(40, until=27)),
}


@dataclass(frozen=True)
class Stranger:
    """A machine that reports but stands in no book; it is stocked like a machine of its kind."""

    machine: Machine
    like: str = field(default_factory=lambda: asset_tag("S39", "A"))


def stranger(until: date) -> Stranger:
    """Bought second-hand and put out before anybody entered it."""
    return Stranger(
        machine=Machine(
            asset_tag="QX-77",
            serial="ZZZ7990077",
            kind_name=DOOR_SIDE,
            site_code="S39",
            placed_on=until - timedelta(days=13),
            reads=NIGHTLY,
            payments=(CASH, CASHLESS),
            visit_weekdays=(0, 3),
            driver_email="dorian@marrowby.example.org",
        )
    )
