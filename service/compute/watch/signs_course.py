"""Signs in what happened: visits, sales, neighbours, counts, money, cold and power."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from .cause_codes import CauseCode as C
from .facts import ColumnFacts
from .missing import Nature
from .sign import Sign, known

LIKELY_EMPTY: Final = 0.3


def _nature(nature: Nature) -> Callable[[ColumnFacts], bool | None]:
    def asks(facts: ColumnFacts) -> bool | None:
        if facts.nature is None or facts.nature is Nature.CANNOT_TELL:
            return None
        return facts.nature is nature

    return asks


OF_COURSE: Final = (
    Sign(
        "likely_empty",
        lambda facts: known(facts.chance_empty, lambda chance: chance >= LIKELY_EMPTY),
        lambda facts: f"by the books it is empty with chance {facts.chance_empty:.0%}",
        0.08,
        {C.SOLD_OUT_REALLY: 0.75, C.WRONGLY_FILLED: 0.25, C.VISITED_TOO_SELDOM: 0.3},
        "by the books it is not empty",
    ),
    Sign(
        "just_visited",
        lambda facts: known(facts.days_since_visit, lambda days: days <= 3),
        "visited just before",
        0.25,
        {C.WRONGLY_FILLED: 0.5, C.PRODUCT_STUCK: 0.4, C.COUNTED_WRONGLY: 0.4, C.GASKET: 0.4},
    ),
    Sign(
        "fading",
        lambda facts: known(facts.sold_before_part, lambda part: part < 0.7),
        lambda facts: (
            f"in the weeks before it sold only {facts.sold_before_part:.0%} of what was expected"
        ),
        0.15,
        {C.SELLS_LESS: 0.7, C.PICTURE_WRONG: 0.3, C.DROP_SENSOR: 0.25, C.SITE_CLOSED: 0.3},
        "it sold as expected until then",
    ),
    Sign(
        "others_silent_too",
        lambda facts: known(facts.machine_silent_part, lambda part: part >= 0.3),
        lambda facts: f"{facts.machine_silent_part:.0%} of the machine's columns are silent",
        0.08,
        {
            C.SITE_CLOSED: 0.95,
            C.POWER_AT_SITE: 0.6,
            C.BOARD: 0.5,
            C.COIN_PATH: 0.4,
            C.CARD_READER: 0.3,
            C.NOTE_PATH: 0.2,
            C.DROP_SENSOR: 0.15,
        },
        "the machine's other columns sell",
    ),
    Sign(
        "product_silent",
        lambda facts: known(facts.part_of_fleet_silent, lambda part: part >= 0.25),
        lambda facts: f"the product is silent in {facts.part_of_fleet_silent:.0%} of its columns",
        0.04,
        {C.SELLS_LESS: 0.4, C.PACKAGE_SHORT: 0.2},
    ),
    Sign(
        "closed_days",
        lambda facts: facts.site_closed,
        "closed days lie in the time",
        0.1,
        {C.SITE_CLOSED: 0.8},
    ),
    Sign(
        "goes_with_vends",
        _nature(Nature.STEADY),
        "the units go with the vends, interval by interval",
        0.3,
        {
            C.DEPTH_PROGRAM: 0.95,
            C.PACKAGE_SHORT: 0.9,
            C.PLAY_TOO_GREAT: 0.9,
            C.SPACER: 0.85,
            C.DROP_SENSOR: 0.8,
            C.MOTOR: 0.8,
            C.VANDALISM: 0.1,
            C.WRONGLY_FILLED: 0.05,
            C.COUNTED_WRONGLY: 0.05,
        },
        "the units went all at once",
    ),
    Sign(
        "neighbour_mirrors",
        lambda facts: facts.neighbour_mirrors,
        "another column of the machine has as many too many",
        0.03,
        {C.WRONGLY_FILLED: 0.7, C.COUNTED_WRONGLY: 0.4},
        "no other column of the machine has them too many",
    ),
    Sign(
        "one_price",
        lambda facts: facts.one_price,
        "every vend was charged the same price",
        0.4,
        {C.WRONGLY_PRICED: 0.95, C.WRONGLY_FILLED: 0.5},
    ),
    Sign(
        "one_person",
        lambda facts: facts.one_person,
        "one person handled every bag that is off",
        0.25,
        {C.SHORT_CASH: 0.7, C.COUNTED_WRONGLY: 0.6},
        "different people handled the bags that are off",
    ),
    Sign(
        "condenser_due",
        lambda facts: known(facts.days_since_condenser, lambda days: days > 90),
        lambda facts: f"its condenser was cleaned {facts.days_since_condenser:.0f} days ago",
        0.35,
        {C.CONDENSER: 0.8, C.FAN: 0.5},
        "its condenser was cleaned within three months",
    ),
    Sign(
        "gasket_due",
        lambda facts: known(facts.days_since_gasket, lambda days: days > 180),
        lambda facts: f"its gasket was looked at {facts.days_since_gasket:.0f} days ago",
        0.35,
        {C.GASKET: 0.7},
    ),
    Sign(
        "cold_again",
        lambda facts: None if facts.still_warm is None else not facts.still_warm,
        "it is cold again by itself",
        0.4,
        {C.POWER_AT_SITE: 0.8, C.GASKET: 0.5, C.CONDENSER: 0.25, C.FAN: 0.15},
        "it is warm still",
    ),
    Sign(
        "power_lost",
        lambda facts: known(facts.power_losses, lambda losses: losses >= 2),
        lambda facts: f"it lost its power {facts.power_losses} times in four weeks",
        0.08,
        {C.POWER_AT_SITE: 0.85, C.BOARD: 0.3, C.CLOCK_NOT_SET: 0.2},
        group="power",
    ),
    Sign(
        "site_lost_power",
        lambda facts: facts.shared_with_site,
        "other machines at the site lost their power too",
        0.1,
        {C.POWER_AT_SITE: 0.7},
        "other machines at the site kept their power",
        group="power",
    ),
    Sign(
        "whole_hours",
        lambda facts: facts.whole_hours,
        "the clock is off by whole hours",
        0.1,
        {C.CLOCK_NOT_SET: 0.7},
        group="clock",
    ),
    Sign(
        "clock_lost",
        lambda facts: facts.clock_lost,
        "the clock began anew",
        0.05,
        {C.BOARD: 0.6, C.POWER_AT_SITE: 0.3, C.CLOCK_NOT_SET: 0.1},
        group="clock",
    ),
    Sign(
        "visits_far_apart",
        lambda facts: known(facts.days_between_visits, lambda days: days > 14),
        lambda facts: f"it is visited every {facts.days_between_visits:.0f} days",
        0.3,
        {C.VISITED_TOO_SELDOM: 0.7},
        "it is visited at least every two weeks",
    ),
    Sign(
        "sells_more",
        lambda facts: known(facts.sold_before_part, lambda part: part > 1.2),
        lambda facts: f"it sold {facts.sold_before_part:.0%} of what was expected",
        0.15,
        {C.SELLS_MORE: 0.7},
    ),
)
