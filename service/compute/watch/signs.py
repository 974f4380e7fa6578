"""Signs: single facts that speak for causes, each with how often it is seen where one is true.

The shares are our own estimates, common practice at best: they stand for WORTH closed tickets and
give way to what closed tickets show (`causes.CauseCounts`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

from fleet.compute.results import Risk

from .cause_codes import CauseCode as C
from .facts import ColumnFacts
from .missing import Nature

#: A plate that leaves this much less than the least play, or more than the most, is told.
SAME_PLAY_MM: Final = 0.05
#: A package shorter than the one the setting was made for by this much is told.
SHORTER_MM: Final = 3.0
#: A changeover this short ago is suspected first.
FRESH_DAYS: Final = 21.0
LONG_SINCE_DAYS: Final = 120.0
LIKELY_EMPTY: Final = 0.3


@dataclass(frozen=True, slots=True)
class Sign:
    """One yes-or-no question to the facts.

    asks    true, false, or None where the facts do not say
    said    the words where it is true
    usual   how often it is true under causes that it has nothing to do with
    under   how often it is true where a cause is the one
    denied  the words where it is false and that speaks against a cause; empty: not told
    group   signs of one group say nearly the same: of those that are true only the first counts
    """

    code: str
    asks: Callable[[ColumnFacts], bool | None]
    said: str | Callable[[ColumnFacts], str]
    usual: float
    under: Mapping[C, float]
    denied: str = ""
    group: str = ""

    def words(self, facts: ColumnFacts, true: bool) -> str:
        """What this answer says; empty where it is not told."""
        if not true:
            return self.denied
        return self.said if isinstance(self.said, str) else self.said(facts)


def signs_of(facts: ColumnFacts) -> dict[str, bool]:
    """Every sign that the facts answer, by code: what is kept with a finding to learn from."""
    return {sign.code: answer for sign in SIGNS if (answer := sign.asks(facts)) is not None}


def _known(value: float | None, test: Callable[[float], bool]) -> bool | None:
    return None if value is None else test(value)


def _program(risk: Risk) -> Callable[[ColumnFacts], bool | None]:
    return lambda facts: None if facts.program_risk is None else facts.program_risk is risk


def _depth_differs(facts: ColumnFacts) -> bool | None:
    if facts.deep_loaded is None or facts.deep_programmed is None:
        return None
    return facts.deep_loaded != facts.deep_programmed


def _plays(facts: ColumnFacts) -> tuple[float, ...]:
    given = (facts.play_front_mm, facts.play_rear_mm)
    return tuple(one for one in given if one is not None)


def _too_great(facts: ColumnFacts) -> bool | None:
    if not _plays(facts) or facts.most_play_mm is None:
        return None
    return max(_plays(facts)) > facts.most_play_mm + SAME_PLAY_MM


def _too_small(facts: ColumnFacts) -> bool | None:
    if not _plays(facts) or facts.least_play_mm is None:
        return None
    return min(_plays(facts)) < facts.least_play_mm - SAME_PLAY_MM


def _shorter(facts: ColumnFacts) -> bool | None:
    if facts.package_length_mm is None or facts.chart_length_mm is None:
        return None
    return facts.chart_length_mm - facts.package_length_mm >= SHORTER_MM


def _failed_vends(facts: ColumnFacts) -> bool | None:
    if facts.test_vends_made is None or facts.test_vends_passed is None:
        return None
    return facts.test_vends_passed < facts.test_vends_made


def _no_vends(facts: ColumnFacts) -> bool | None:
    if facts.days_since_changeover is None:
        return None
    return _known(facts.test_vends_made, lambda made: made == 0)


def _event(*bases: str) -> Callable[[ColumnFacts], bool | None]:
    """Whether one of these stands active. That a machine reports none proves little, but a
    machine that is read at all would mostly tell."""

    def asks(facts: ColumnFacts) -> bool | None:
        if facts.events is None:
            return None
        return any(one.startswith(base) for one in facts.events for base in bases)

    return asks


def _nature(nature: Nature) -> Callable[[ColumnFacts], bool | None]:
    def asks(facts: ColumnFacts) -> bool | None:
        if facts.nature is None or facts.nature is Nature.CANNOT_TELL:
            return None
        return facts.nature is nature

    return asks


def _no_programmed(facts: ColumnFacts) -> str:
    return f"programmed {facts.deep_programmed} deep and loaded {facts.deep_loaded} deep"


def _play_said(facts: ColumnFacts, great: bool) -> str:
    plays = _plays(facts)
    value = max(plays) if great else min(plays)
    limit = facts.most_play_mm if great else facts.least_play_mm
    word = "most" if great else "least"
    return f"the play is {value:.1f} mm, where {limit:.1f} mm is the {word}"


def _short_said(facts: ColumnFacts) -> str:
    length, chart = facts.package_length_mm or 0.0, facts.chart_length_mm or 0.0
    return (
        f"the product is {length:.0f} mm long, {chart - length:.0f} mm shorter than the one "
        f"the setting was made for"
    )


SIGNS: Final[tuple[Sign, ...]] = (
    Sign(
        "program_two_for_one",
        _program(Risk.TWO_FOR_ONE),
        "at this load its depth program lets a second product follow",
        0.02,
        {C.DEPTH_PROGRAM: 0.55},
        "its depth program stops in time for this load",
        group="program",
    ),
    Sign(
        "program_false_sold_out",
        _program(Risk.FALSE_SOLD_OUT),
        "at this load its depth program misses the vend window",
        0.02,
        {C.DEPTH_PROGRAM: 0.4},
        group="program",
    ),
    Sign(
        "program_near",
        _program(Risk.DROPS_INTO_RUN_ON),
        "its depth program stops only just before the next product falls",
        0.05,
        {C.DEPTH_PROGRAM: 0.2, C.SPACER: 0.1},
        group="program",
    ),
    Sign(
        "depth_differs",
        _depth_differs,
        _no_programmed,
        0.03,
        {C.DEPTH_PROGRAM: 0.6},
        "it is programmed as deep as it is loaded",
        group="program",
    ),
    Sign(
        "package_shorter",
        _shorter,
        _short_said,
        0.03,
        {C.PACKAGE_SHORT: 0.75, C.PLAY_TOO_GREAT: 0.2},
        "the product is as long as the one the setting was made for",
        group="play",
    ),
    Sign(
        "play_too_great",
        _too_great,
        lambda facts: _play_said(facts, True),
        0.06,
        {C.PLAY_TOO_GREAT: 0.7, C.PACKAGE_SHORT: 0.45, C.PRODUCT_STUCK: 0.12, C.SPACER: 0.1},
        "the play is within its band",
        group="play",
    ),
    Sign(
        "play_too_small",
        _too_small,
        lambda facts: _play_said(facts, False),
        0.05,
        {C.PLAY_TOO_SMALL: 0.75, C.PRODUCT_STUCK: 0.15},
        "the play is within its band",
        group="play",
    ),
    Sign(
        "changed_lately",
        lambda facts: _known(facts.days_since_changeover, lambda days: days <= FRESH_DAYS),
        lambda facts: f"changed over {facts.days_since_changeover:.0f} days ago",
        0.12,
        {
            C.DEPTH_PROGRAM: 0.55,
            C.PLAY_TOO_GREAT: 0.45,
            C.PLAY_TOO_SMALL: 0.5,
            C.PACKAGE_SHORT: 0.4,
            C.SPACER: 0.25,
            C.WRONGLY_PRICED: 0.5,
            C.PICTURE_WRONG: 0.55,
            C.WRONGLY_FILLED: 0.25,
            C.SELLS_LESS: 0.2,
        },
        "not changed over lately",
        group="fresh",
    ),
    Sign(
        "long_unchanged",
        lambda facts: _known(facts.days_since_changeover, lambda days: days > LONG_SINCE_DAYS),
        lambda facts: f"set so for {facts.days_since_changeover:.0f} days without trouble",
        0.5,
        {
            C.SPACER: 0.7,
            C.DROP_SENSOR: 0.65,
            C.MOTOR: 0.65,
            C.DEPTH_PROGRAM: 0.15,
            C.PLAY_TOO_SMALL: 0.15,
            C.PLAY_TOO_GREAT: 0.2,
        },
        group="fresh",
    ),
    Sign(
        "test_vends_failed",
        _failed_vends,
        lambda facts: (
            f"{facts.test_vends_passed} of {facts.test_vends_made} test vends passed at the "
            "last changeover"
        ),
        0.04,
        {
            C.DEPTH_PROGRAM: 0.25,
            C.PLAY_TOO_SMALL: 0.3,
            C.PLAY_TOO_GREAT: 0.2,
            C.SPACER: 0.2,
            C.DROP_SENSOR: 0.2,
            C.MOTOR: 0.25,
        },
        "every test vend of the last changeover passed",
        group="vends",
    ),
    Sign(
        "no_test_vends",
        _no_vends,
        "no test vend was made at the last changeover",
        0.08,
        {C.DEPTH_PROGRAM: 0.25, C.PLAY_TOO_SMALL: 0.25, C.PLAY_TOO_GREAT: 0.2, C.SPACER: 0.15},
        group="vends",
    ),
    Sign(
        "as_left_differs",
        lambda facts: facts.as_left_differs,
        "it was left otherwise than planned",
        0.08,
        {C.DEPTH_PROGRAM: 0.25, C.PLAY_TOO_GREAT: 0.25, C.PLAY_TOO_SMALL: 0.25, C.SPACER: 0.25},
        group="vends",
    ),
    Sign(
        "chart_differs",
        lambda facts: facts.fitted_dispute,
        "its settings are not those of the chart",
        0.1,
        {C.PLAY_TOO_GREAT: 0.35, C.PLAY_TOO_SMALL: 0.35, C.SPACER: 0.2},
        group="play",
    ),
    Sign(
        "picture_differs",
        lambda facts: None if facts.picture_matches is None else not facts.picture_matches,
        "its picture was noted as not matching",
        0.03,
        {C.PICTURE_WRONG: 0.7},
        "its picture was noted as matching",
    ),
    Sign(
        "likely_empty",
        lambda facts: _known(facts.chance_empty, lambda chance: chance >= LIKELY_EMPTY),
        lambda facts: f"by the books it is empty with chance {facts.chance_empty:.0%}",
        0.08,
        {C.SOLD_OUT_REALLY: 0.75, C.WRONGLY_FILLED: 0.25, C.VISITED_TOO_SELDOM: 0.3},
        "by the books it is not empty",
    ),
    Sign(
        "just_visited",
        lambda facts: _known(facts.days_since_visit, lambda days: days <= 3),
        "visited just before",
        0.25,
        {C.WRONGLY_FILLED: 0.5, C.PRODUCT_STUCK: 0.4, C.COUNTED_WRONGLY: 0.4, C.GASKET: 0.4},
    ),
    Sign(
        "fading",
        lambda facts: _known(facts.sold_before_part, lambda part: part < 0.7),
        lambda facts: (
            f"in the weeks before it sold only {facts.sold_before_part:.0%} of what was expected"
        ),
        0.15,
        {C.SELLS_LESS: 0.7, C.PICTURE_WRONG: 0.3, C.DROP_SENSOR: 0.25, C.SITE_CLOSED: 0.3},
        "it sold as expected until then",
    ),
    Sign(
        "others_silent_too",
        lambda facts: _known(facts.machine_silent_part, lambda part: part >= 0.3),
        lambda facts: f"{facts.machine_silent_part:.0%} of the machine's columns are silent",
        0.08,
        {
            C.SITE_CLOSED: 0.8,
            C.POWER_AT_SITE: 0.6,
            C.BOARD: 0.5,
            C.COIN_PATH: 0.4,
            C.CARD_READER: 0.3,
            C.NOTE_PATH: 0.2,
            C.DROP_SENSOR: 0.3,
        },
        "the machine's other columns sell",
    ),
    Sign(
        "product_silent",
        lambda facts: _known(facts.part_of_fleet_silent, lambda part: part >= 0.25),
        lambda facts: f"the product is silent in {facts.part_of_fleet_silent:.0%} of its columns",
        0.04,
        {C.SELLS_LESS: 0.4, C.PACKAGE_SHORT: 0.2},
    ),
    Sign(
        "closed_days",
        lambda facts: facts.site_closed,
        "closed days lie in the time",
        0.1,
        {C.SITE_CLOSED: 0.6},
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
        lambda facts: _known(facts.days_since_condenser, lambda days: days > 90),
        lambda facts: f"its condenser was cleaned {facts.days_since_condenser:.0f} days ago",
        0.35,
        {C.CONDENSER: 0.8, C.FAN: 0.5},
        "its condenser was cleaned within three months",
    ),
    Sign(
        "gasket_due",
        lambda facts: _known(facts.days_since_gasket, lambda days: days > 180),
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
        lambda facts: _known(facts.power_losses, lambda losses: losses >= 2),
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
        {C.CLOCK_NOT_SET: 0.7, C.BOARD: 0.1},
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
        lambda facts: _known(facts.days_between_visits, lambda days: days > 14),
        lambda facts: f"it is visited every {facts.days_between_visits:.0f} days",
        0.3,
        {C.VISITED_TOO_SELDOM: 0.7, C.SELLS_MORE: 0.3},
        "it is visited at least every two weeks",
    ),
    Sign(
        "sells_more",
        lambda facts: _known(facts.sold_before_part, lambda part: part > 1.2),
        lambda facts: f"it sold {facts.sold_before_part:.0%} of what was expected",
        0.15,
        {C.SELLS_MORE: 0.7},
    ),
    Sign(
        "no_drop_sensor",
        lambda facts: None if facts.has_drop_sensor is None else not facts.has_drop_sensor,
        "its kind has no drop sensor",
        0.3,
        {C.DROP_SENSOR: 0.001},
    ),
    Sign(
        "event_drop_sensor",
        _event("EJL"),
        "the machine reports its drop sensor",
        0.02,
        {C.DROP_SENSOR: 0.5},
    ),
    Sign(
        "event_motor",
        _event("EJB", "EJC", "EJM"),
        "the machine reports a motor or a blocked delivery",
        0.03,
        {C.MOTOR: 0.5, C.PRODUCT_STUCK: 0.35, C.PLAY_TOO_SMALL: 0.15},
        group="delivery",
    ),
    Sign(
        "event_not_delivered",
        _event("ELA", "ELB"),
        "the machine reports that a product was not delivered",
        0.04,
        {
            C.PRODUCT_STUCK: 0.4,
            C.DROP_SENSOR: 0.35,
            C.MOTOR: 0.3,
            C.DEPTH_PROGRAM: 0.25,
            C.PLAY_TOO_SMALL: 0.3,
            C.SOLD_OUT_REALLY: 0.2,
        },
        group="delivery",
    ),
    Sign(
        "event_coins",
        _event("EA", "OBP", "OCC"),
        "the machine reports its coin mechanism",
        0.06,
        {C.COIN_PATH: 0.75, C.VANDALISM: 0.15},
    ),
    Sign(
        "event_change",
        _event("OBK"),
        "the machine reports that it has no change",
        0.04,
        {C.TUBES_LOW: 0.7, C.COIN_PATH: 0.2},
    ),
    Sign(
        "event_notes",
        _event("EN", "OBR", "OCE"),
        "the machine reports its bill validator",
        0.05,
        {C.NOTE_PATH: 0.75},
    ),
    Sign(
        "event_cards",
        _event("EK", "OBS", "OCL"),
        "the machine reports its card reader",
        0.04,
        {C.CARD_READER: 0.75},
    ),
    Sign(
        "event_condenser",
        _event("EOH"),
        "the machine reports its condenser",
        0.02,
        {C.CONDENSER: 0.6},
    ),
    Sign(
        "event_fan",
        _event("EJI", "EOI", "EOK"),
        "the machine reports a fan",
        0.02,
        {C.FAN: 0.65},
    ),
    Sign(
        "event_board",
        _event("EC"),
        "the machine reports its control or electrics",
        0.03,
        {C.BOARD: 0.7, C.POWER_AT_SITE: 0.2},
    ),
    Sign(
        "event_power",
        _event("OCF", "ECA"),
        "the machine reports that its power was cut or out of range",
        0.02,
        {C.POWER_AT_SITE: 0.6},
        group="power",
    ),
    Sign(
        "event_vandalism",
        _event("OCA", "OCB", "OCI", "ENB"),
        "the machine reports theft, vandalism or cheating",
        0.01,
        {C.VANDALISM: 0.5},
    ),
)
