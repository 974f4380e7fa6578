"""How often each cause is behind each kind of finding before anything is known of the case.

In parts of ten; common practice, no published source. They stand for ten closed tickets
(`causes.PRIOR_CASES`) and give way to real ones.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from .cause_codes import CauseCode as C
from .suspicion import Kind

_PRIORS: Final[dict[Kind, dict[C, float]]] = {
    Kind.SILENT: {
        C.PRODUCT_STUCK: 1.8,
        C.DROP_SENSOR: 1.4,
        C.MOTOR: 1.3,
        C.DEPTH_PROGRAM: 1.0,
        C.PLAY_TOO_SMALL: 0.9,
        C.SOLD_OUT_REALLY: 0.8,
        C.SELLS_LESS: 0.6,
        C.WRONGLY_FILLED: 0.4,
        C.NO_FAULT_FOUND: 0.4,
        C.SPACER: 0.3,
        C.PLAY_TOO_GREAT: 0.3,
        C.PICTURE_WRONG: 0.2,
        C.WRONGLY_PRICED: 0.2,
        C.SITE_CLOSED: 0.4,
        C.PACKAGE_SHORT: 0.1,
        C.BOARD: 0.1,
    },
    Kind.TWO_FOR_ONE: {
        C.DEPTH_PROGRAM: 3.0,
        C.SPACER: 1.7,
        C.PACKAGE_SHORT: 1.5,
        C.PLAY_TOO_GREAT: 1.2,
        C.DROP_SENSOR: 0.8,
        C.COUNTED_WRONGLY: 0.7,
        C.MOTOR: 0.5,
        C.WRONGLY_FILLED: 0.4,
        C.NO_FAULT_FOUND: 0.3,
    },
    Kind.MISSING: {
        C.COUNTED_WRONGLY: 3.0,
        C.WRONGLY_FILLED: 3.0,
        C.VANDALISM: 1.4,
        C.SPACER: 0.7,
        C.PLAY_TOO_GREAT: 0.6,
        C.DEPTH_PROGRAM: 0.5,
        C.NO_FAULT_FOUND: 0.5,
        C.PACKAGE_SHORT: 0.3,
    },
    Kind.PRICE: {
        C.WRONGLY_PRICED: 7.5,
        C.WRONGLY_FILLED: 1.0,
        C.BOARD: 0.5,
        C.NO_FAULT_FOUND: 0.5,
        C.OTHER: 0.5,
    },
    Kind.CASH: {
        C.COUNTED_WRONGLY: 3.5,
        C.COIN_PATH: 1.5,
        C.NOTE_PATH: 1.3,
        C.SHORT_CASH: 1.2,
        C.TUBES_LOW: 1.0,
        C.VANDALISM: 0.8,
        C.NO_FAULT_FOUND: 0.7,
    },
    Kind.WARM: {
        C.CONDENSER: 3.5,
        C.GASKET: 1.8,
        C.FAN: 1.6,
        C.POWER_AT_SITE: 1.1,
        C.COOLING: 0.8,
        C.LOCK: 0.2,
        C.WRONGLY_FILLED: 0.5,
        C.BOARD: 0.3,
        C.NO_FAULT_FOUND: 0.2,
    },
    Kind.POWER: {
        C.POWER_AT_SITE: 7.0,
        C.BOARD: 1.5,
        C.VANDALISM: 0.7,
        C.NO_FAULT_FOUND: 0.5,
        C.OTHER: 0.3,
    },
    Kind.CLOCK: {
        C.CLOCK_NOT_SET: 6.5,
        C.BOARD: 2.5,
        C.POWER_AT_SITE: 0.7,
        C.OTHER: 0.3,
    },
    Kind.SOLD_OUT: {
        C.VISITED_TOO_SELDOM: 4.5,
        C.SELLS_MORE: 3.0,
        C.WRONGLY_FILLED: 1.0,
        C.PLAY_TOO_SMALL: 0.5,
        C.DROP_SENSOR: 0.5,
        C.NO_FAULT_FOUND: 0.5,
    },
    Kind.EVENT: {
        C.OTHER: 4.0,
        C.NO_FAULT_FOUND: 2.0,
        C.BOARD: 1.5,
        C.MOTOR: 0.5,
        C.DROP_SENSOR: 0.5,
        C.COIN_PATH: 0.5,
        C.NOTE_PATH: 0.5,
        C.CARD_READER: 0.5,
    },
}

# What an event is about, by the beginning of its base, the longest first: it moves this much of
# the prior of an event's finding to these causes.
_EVENT_PART: Final = 0.8
_BY_EVENT: Final[dict[str, dict[C, float]]] = {
    "EA": {C.COIN_PATH: 0.8, C.VANDALISM: 0.1, C.BOARD: 0.1},
    "EN": {C.NOTE_PATH: 0.85, C.VANDALISM: 0.05, C.BOARD: 0.1},
    "EK": {C.CARD_READER: 0.9, C.BOARD: 0.1},
    "EC": {C.BOARD: 0.8, C.POWER_AT_SITE: 0.2},
    "ECA": {C.POWER_AT_SITE: 0.7, C.BOARD: 0.3},
    "ECL": {C.CLOCK_NOT_SET: 0.6, C.BOARD: 0.4},
    "EJ": {C.MOTOR: 0.5, C.PRODUCT_STUCK: 0.4, C.BOARD: 0.1},
    "EJI": {C.FAN: 0.9, C.BOARD: 0.1},
    "EJJ": {C.CONDENSER: 0.5, C.GASKET: 0.3, C.FAN: 0.2},
    "EJH": {C.CONDENSER: 0.4, C.POWER_AT_SITE: 0.3, C.GASKET: 0.3},
    "EJL": {C.DROP_SENSOR: 0.95, C.BOARD: 0.05},
    "EL": {C.PRODUCT_STUCK: 0.4, C.DROP_SENSOR: 0.3, C.SOLD_OUT_REALLY: 0.3},
    "EO": {C.CONDENSER: 0.4, C.COOLING: 0.3, C.FAN: 0.2, C.BOARD: 0.1},
    "EOM": {C.COOLING: 1.0},
    "EGC": {C.LOCK: 1.0},
    "EGE": {C.LAMP: 1.0},
    "EOI": {C.FAN: 0.9, C.CONDENSER: 0.1},
    "EOK": {C.FAN: 0.9, C.GASKET: 0.1},
    "OBK": {C.TUBES_LOW: 0.9, C.COIN_PATH: 0.1},
    "OBT": {C.CONDENSER: 0.5, C.GASKET: 0.3, C.FAN: 0.2},
    "OBJ": {C.WRONGLY_PRICED: 1.0},
    "OCA": {C.VANDALISM: 1.0},
    "OCB": {C.VANDALISM: 1.0},
    "OCF": {C.POWER_AT_SITE: 0.9, C.BOARD: 0.1},
}


def priors_of(kind: Kind, events: Sequence[str] = ()) -> dict[C, float]:
    """Shares that sum to 1. Of an event's finding the machine's active events say most."""
    total = sum(_PRIORS[kind].values())
    found = {cause: part / total for cause, part in _PRIORS[kind].items()}
    about = [match for event in events if (match := _about(event)) is not None]
    if kind is not Kind.EVENT or not about:
        return found
    found = {cause: part * (1 - _EVENT_PART) for cause, part in found.items()}
    for causes in about:
        for cause, part in causes.items():
            found[cause] = found.get(cause, 0.0) + _EVENT_PART * part / len(about)
    return found


def _about(event: str) -> dict[C, float] | None:
    match = max((base for base in _BY_EVENT if event.startswith(base)), key=len, default=None)
    return None if match is None else _BY_EVENT[match]
