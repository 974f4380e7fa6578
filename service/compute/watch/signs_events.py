"""Signs that the machine itself gives, by its active events."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from .cause_codes import CauseCode as C
from .facts import ColumnFacts
from .sign import Sign


def _event(*bases: str) -> Callable[[ColumnFacts], bool | None]:
    """Whether one of these stands active. That a machine reports none proves little, but a
    machine that is read at all would mostly tell."""

    def asks(facts: ColumnFacts) -> bool | None:
        if facts.events is None:
            return None
        return any(one.startswith(base) for one in facts.events for base in bases)

    return asks


OF_EVENTS: Final = (
    Sign(
        "event_drop_sensor",
        _event("EJL"),
        "the machine reports its drop sensor",
        0.02,
        {C.DROP_SENSOR: 0.5},
    ),
    Sign(
        "event_motor",
        _event("EJB", "EJM"),
        "the machine reports a motor or its delivery",
        0.02,
        {C.MOTOR: 0.6, C.PRODUCT_STUCK: 0.15, C.PLAY_TOO_SMALL: 0.1},
        group="delivery",
    ),
    Sign(
        "event_blocked",
        _event("EJC"),
        "the machine reports a column that is blocked",
        0.01,
        {C.PRODUCT_STUCK: 0.35, C.PLAY_TOO_SMALL: 0.2, C.MOTOR: 0.1},
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
