"""What can be behind a finding, in words, with what to check first and the cautions of the work.

First checks are common practice, no published source; the maker's manual comes first.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from fleet.compute.cautions import Work


class CauseCode(StrEnum):
    """What turned out to be wrong. Each value is kept with closed tickets and is stable."""

    DEPTH_PROGRAM = "depth_program"
    PLAY_TOO_GREAT = "play_great"
    PLAY_TOO_SMALL = "play_small"
    SPACER = "spacer"
    PACKAGE_SHORT = "package_short"
    DROP_SENSOR = "drop_sensor"
    MOTOR = "motor"
    PRODUCT_STUCK = "stuck"
    COIN_PATH = "coin_path"
    NOTE_PATH = "note_path"
    CARD_READER = "card_reader"
    TUBES_LOW = "tubes_low"
    CONDENSER = "condenser"
    FAN = "fan"
    GASKET = "gasket"
    COOLING = "cooling"
    BOARD = "board"
    LOCK = "lock"
    LAMP = "lamp"
    WORN_OUT = "worn_out"
    POWER_AT_SITE = "site_power"
    VANDALISM = "vandalism"
    WRONGLY_FILLED = "wrong_fill"
    WRONGLY_PRICED = "wrong_price"
    PICTURE_WRONG = "picture"
    OUT_OF_DATE = "out_of_date"
    SOLD_OUT_REALLY = "truly_sold_out"
    SITE_CLOSED = "site_closed"
    CLOCK_NOT_SET = "clock_not_set"
    COUNTED_WRONGLY = "counted_wrongly"
    SHORT_CASH = "short_cash"
    SELLS_LESS = "sells_less"
    SELLS_MORE = "sells_more"
    VISITED_TOO_SELDOM = "visited_too_seldom"
    MAINTAINED = "maintained"
    NO_FAULT_FOUND = "no_fault"
    OTHER = "other"


@dataclass(frozen=True, slots=True)
class Cause:
    """One cause: `words` for a list, `check_first` for whoever goes there.

    `work` names the cautions to show beside the check; None where nobody need reach in.
    `is_fault`: something was wrong that a visit can put right. None: it says neither.
    """

    code: CauseCode
    words: str
    check_first: str
    work: Work | None = None
    is_fault: bool | None = True


_C = CauseCode

CAUSES: Final[dict[CauseCode, Cause]] = {
    one.code: one
    for one in (
        Cause(
            _C.DEPTH_PROGRAM,
            "depth program does not match the load",
            "Compare the selection's depth program with how many products lie deep; set it, then "
            "test vend until it has dropped every way it can.",
            Work.CHANGEOVER,
        ),
        Cause(
            _C.PLAY_TOO_GREAT,
            "too much play",
            "Measure the play behind the products at the bottom and at the top of the plate: "
            "about a quarter inch (6 mm). Products that shift off the beam want the plate nearer.",
            Work.CHANGEOVER,
        ),
        Cause(
            _C.PLAY_TOO_SMALL,
            "too little play: products bind",
            "Push a product down the column by hand. If it binds, move the plate one notch out and "
            "measure the play at both ends of the plate.",
            Work.CHANGEOVER,
        ),
        Cause(
            _C.SPACER,
            "spacer worn, crooked or in the wrong notch",
            "Look whether both spacers of the pair stand straight and in the same notch, and "
            "whether a hook is worn.",
            Work.CHANGEOVER,
        ),
        Cause(
            _C.PACKAGE_SHORT,
            "product shorter than the setting is for",
            "Measure a product from base to cap and compare with the length on the record; look "
            "for a new bottle under the old name.",
            Work.CHANGEOVER,
        ),
        Cause(
            _C.DROP_SENSOR,
            "drop sensor dirty or out of line",
            "Clean the drop sensor and the chute, then let products drop past it by test vends.",
            Work.BEHIND_PANELS,
        ),
        Cause(
            _C.MOTOR,
            "motor, home switch or its wiring",
            "Test vend and listen: the motor turns and stops at home. Then look at its plug and "
            "home switch.",
            Work.BEHIND_PANELS,
        ),
        Cause(
            _C.PRODUCT_STUCK,
            "product stuck or standing across",
            "Open the door and look for a product that stands across or hangs in the column; free "
            "it and test vend.",
            Work.CHANGEOVER,
        ),
        Cause(
            _C.COIN_PATH,
            "coin path dirty or jammed",
            "See that the machine stands level, clean the coin path and try each coin.",
            Work.BEHIND_PANELS,
        ),
        Cause(
            _C.NOTE_PATH,
            "note path dirty or jammed",
            "Clean the belts and the path of the bill validator and try a worn and a new note.",
            Work.BEHIND_PANELS,
        ),
        Cause(
            _C.CARD_READER,
            "card reader or its connection",
            "Pay with a card; look at the reader's signal, its plug and its display.",
            Work.BEHIND_PANELS,
        ),
        Cause(
            _C.TUBES_LOW,
            "coin tubes low",
            "Read the tubes' levels and fill them; look which coin runs out.",
        ),
        Cause(
            _C.CONDENSER,
            "condenser dirty or its air blocked",
            "Unplug, clean the condenser and its screen, and clear the space behind the machine.",
            Work.REFRIGERATION,
        ),
        Cause(
            _C.FAN,
            "fan not turning",
            "Listen for both fans; a fan that stands still is seen to with the machine unplugged.",
            Work.REFRIGERATION,
        ),
        Cause(
            _C.GASKET,
            "door gasket, or door not shut",
            "Close the door on a strip of paper all round: where it slides out, the gasket leaks.",
        ),
        Cause(
            _C.COOLING,
            "cooling circuit",
            "Where the condenser is clean, both fans turn and the door seals: call a licensed "
            "technician.",
            Work.REFRIGERATION,
        ),
        Cause(
            _C.LOCK,
            "lock, latch or hinge",
            "Close and lock the door, and look whether it lies against its frame all round.",
        ),
        Cause(
            _C.LAMP,
            "lamp",
            "Look whether every button and the front are lit.",
            Work.BEHIND_PANELS,
        ),
        Cause(
            _C.WORN_OUT,
            "a part worn out by age",
            "Look at the part that was replaced longest ago.",
            Work.BEHIND_PANELS,
        ),
        Cause(
            _C.OUT_OF_DATE,
            "out of date",
            "Read the dates of what lies in the column, the last to drop first.",
        ),
        Cause(
            _C.MAINTAINED,
            "planned work, no fault",
            "Look when planned work was last done there.",
            is_fault=False,
        ),
        Cause(
            _C.BOARD,
            "control board or its back-up battery",
            "Set the clock, switch off and on, and see whether it keeps; note what the display "
            "says.",
            Work.BEHIND_PANELS,
        ),
        Cause(
            _C.POWER_AT_SITE,
            "power at the site",
            "Ask the host about the socket: a timer, a shared circuit, somebody who unplugs. "
            "Wiring is for a licensed electrician.",
        ),
        Cause(
            _C.VANDALISM,
            "vandalism or theft",
            "Look for marks at the door, the lock and the delivery bin before touching anything, "
            "and take pictures.",
        ),
        Cause(
            _C.WRONGLY_FILLED,
            "filled into the wrong column, or other than noted",
            "Look what lies in this column and in its neighbours, and count them against the "
            "record.",
        ),
        Cause(
            _C.WRONGLY_PRICED,
            "price in the machine not as on the record",
            "Read the price of the selection at the machine and set the one on the record, or "
            "correct the record.",
        ),
        Cause(
            _C.PICTURE_WRONG,
            "picture or label not of the product",
            "Compare the button's picture with what lies in the column.",
        ),
        Cause(
            _C.SOLD_OUT_REALLY,
            "empty in truth",
            "Count the column; correct the record and see why it ran out unseen.",
            is_fault=False,
        ),
        Cause(
            _C.SITE_CLOSED,
            "site closed or few people there",
            "Ask the host when the site is open, and enter the closed days.",
            is_fault=False,
        ),
        Cause(
            _C.CLOCK_NOT_SET,
            "clock never set, or summer time not kept",
            "Set the machine's clock and its zone, and look again at the next read.",
        ),
        Cause(
            _C.COUNTED_WRONGLY,
            "counted or noted wrongly",
            "Count again, with a second person where it is money.",
            is_fault=False,
        ),
        Cause(
            _C.SHORT_CASH,
            "money missing between the machine and the count",
            "A matter for the owner: compare seal numbers, who sealed and who counted. It accuses "
            "nobody; look for meters and tubes first.",
        ),
        Cause(
            _C.SELLS_LESS,
            "sells less than before",
            "Nothing may be wrong: compare with the same product at other sites, and consider "
            "another product.",
            is_fault=False,
        ),
        Cause(
            _C.SELLS_MORE,
            "sells more than the column holds",
            "Give the product a second column or a deeper one.",
        ),
        Cause(
            _C.VISITED_TOO_SELDOM,
            "visited too seldom",
            "Look at the days between visits and what the column needs; visit sooner.",
        ),
        Cause(
            _C.NO_FAULT_FOUND,
            "no fault found",
            "If test vends pass and the count agrees, close it so; it counts against the watch.",
            is_fault=False,
        ),
        Cause(_C.OTHER, "another cause", "Say what it was in words.", is_fault=None),
    )
}


def code_of(code: str) -> CauseCode:
    """The cause of that code; one of the business's own words is OTHER."""
    return CauseCode(code) if code in _KNOWN else CauseCode.OTHER


def was_true(code: str) -> bool | None:
    """Whether a finding that closed with this cause was right; None where it cannot be said."""
    return CAUSES[code_of(code)].is_fault


_KNOWN: Final = frozenset(one.value for one in CauseCode)
