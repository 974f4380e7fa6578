"""Signs in how the column is set: depth program, play, package, the last changeover."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from fleet.compute.results import Risk

from .cause_codes import CauseCode as C
from .facts import ColumnFacts
from .sign import Sign, known

#: A plate that leaves this much less than the least play, or more than the most, is told.
SAME_PLAY_MM: Final = 0.05
#: A package shorter than the one the setting was made for by this much is told.
SHORTER_MM: Final = 3.0
#: A changeover this short ago is suspected first.
FRESH_DAYS: Final = 21.0
LONG_SINCE_DAYS: Final = 120.0


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
    return known(facts.test_vends_made, lambda made: made == 0)


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


OF_SET_UP: Final = (
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
        "chart_differs",
        lambda facts: facts.fitted_dispute,
        "its settings are not those of the chart",
        0.1,
        {C.PLAY_TOO_GREAT: 0.35, C.PLAY_TOO_SMALL: 0.35, C.SPACER: 0.2},
        group="play",
    ),
    Sign(
        "changed_lately",
        lambda facts: known(facts.days_since_changeover, lambda days: days <= FRESH_DAYS),
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
        lambda facts: known(facts.days_since_changeover, lambda days: days > LONG_SINCE_DAYS),
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
        "picture_differs",
        lambda facts: None if facts.picture_matches is None else not facts.picture_matches,
        "its picture was noted as not matching",
        0.03,
        {C.PICTURE_WRONG: 0.7},
        "its picture was noted as matching",
    ),
    Sign(
        "no_drop_sensor",
        lambda facts: None if facts.has_drop_sensor is None else not facts.has_drop_sensor,
        "its kind has no drop sensor",
        0.3,
        {C.DROP_SENSOR: 0.001},
    ),
)
