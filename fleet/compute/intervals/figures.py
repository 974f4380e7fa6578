"""Which counters are followed, which device keeps each, and where each starts again from zero.

Element codes and widths are those of the open audit standard (EVA DTS 6), read from
:mod:`fleet.compute.audit.dictionary`.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from fleet.compute.audit.dictionary import counter_code, modulus


class Device(StrEnum):
    """A part with counters of its own: when it is replaced, those start afresh, and no others."""

    CONTROL_BOARD = "control_board"
    COIN_MECHANISM = "coin_mechanism"
    BILL_VALIDATOR = "bill_validator"
    CASHLESS_1 = "cashless_1"
    CASHLESS_2 = "cashless_2"
    TOKEN_MECHANISM = "token_mechanism"  # noqa: S105 - a vend token, not a password


@dataclass(frozen=True, slots=True)
class Figure:
    """One counter: its never-reset element and its since-reset twin, each with its modulus.

    `modulus` is the value that follows all nines; a counter shows its true value modulo that.
    """

    name: str
    device: Device
    code: str
    modulus: int
    reset_code: str
    reset_modulus: int
    is_money: bool


def _figure(name: str, device: Device, segment: str, group: str) -> Figure:
    is_money = name.endswith("_minor")
    measure = "value" if is_money else "count"
    code = counter_code(segment, group, measure)
    reset_code = counter_code(segment, group, measure, "R")
    return Figure(
        name, device, code, modulus(code), reset_code, modulus(reset_code), is_money=is_money
    )


_BOARD = Device.CONTROL_BOARD
_COIN = Device.COIN_MECHANISM

#: Counters of one selection, in the order of :class:`~fleet.compute.intervals.interval.Sold`.
LINE_FIGURES: Final = (
    _figure("paid_count", _BOARD, "PA2", "paid"),
    _figure("paid_value_minor", _BOARD, "PA2", "paid"),
    _figure("test_count", _BOARD, "PA3", "test"),
    _figure("test_value_minor", _BOARD, "PA3", "test"),
    _figure("free_count", _BOARD, "PA4", "free"),
    _figure("free_value_minor", _BOARD, "PA4", "free"),
    _figure("discount_count", _BOARD, "PA2", "discounts"),
    _figure("discount_value_minor", _BOARD, "PA2", "discounts"),
)

PAYMENT_COUNT: Final = _figure("paid_count", _BOARD, "PA7", "paid")
PAYMENT_VALUE: Final = _figure("paid_value_minor", _BOARD, "PA7", "paid")

#: Counters of the whole machine. The first eight are those of a selection, in the same order.
TOTAL_FIGURES: Final = (
    _figure("paid_count", _BOARD, "VA1", "paid"),
    _figure("paid_value_minor", _BOARD, "VA1", "paid"),
    _figure("test_count", _BOARD, "VA2", "test"),
    _figure("test_value_minor", _BOARD, "VA2", "test"),
    _figure("free_count", _BOARD, "VA3", "free"),
    _figure("free_value_minor", _BOARD, "VA3", "free"),
    _figure("discount_count", _BOARD, "VA1", "discounts"),
    _figure("discount_value_minor", _BOARD, "VA1", "discounts"),
    _figure("cash_count", _COIN, "CA2", "sales"),
    _figure("cash_value_minor", _COIN, "CA2", "sales"),
    _figure("cash_in_minor", _COIN, "CA3", "total"),
    _figure("cash_to_box_minor", _COIN, "CA3", "to_box"),
    _figure("cash_to_tubes_minor", _COIN, "CA3", "to_tubes"),
    _figure("cash_out_minor", _COIN, "CA4", "dispensed"),
    _figure("cash_out_by_hand_minor", _COIN, "CA4", "by_hand"),
    _figure("cash_overpay_minor", _COIN, "CA8", "overpay"),
    _figure("coins_filled_by_hand_minor", _COIN, "CA10", "coins_filled"),
    _figure("bills_in_minor", Device.BILL_VALIDATOR, "CA3", "bills"),
    _figure("cashless_1_count", Device.CASHLESS_1, "DA2", "sales"),
    _figure("cashless_1_value_minor", Device.CASHLESS_1, "DA2", "sales"),
    _figure("cashless_1_revalued_minor", Device.CASHLESS_1, "DA4", "revalued"),
    _figure("cashless_2_count", Device.CASHLESS_2, "DB2", "sales"),
    _figure("cashless_2_value_minor", Device.CASHLESS_2, "DB2", "sales"),
    _figure("cashless_2_revalued_minor", Device.CASHLESS_2, "DB4", "revalued"),
    _figure("vend_token_count", Device.TOKEN_MECHANISM, "TA2", "vend_tokens"),
    _figure("vend_token_value_minor", Device.TOKEN_MECHANISM, "TA2", "vend_tokens"),
    _figure("value_token_count", Device.TOKEN_MECHANISM, "TA2", "value_tokens"),
    _figure("value_token_value_minor", Device.TOKEN_MECHANISM, "TA2", "value_tokens"),
)

LINE_INDEX: Final = {figure.name: index for index, figure in enumerate(LINE_FIGURES)}
TOTAL_INDEX: Final = {figure.name: index for index, figure in enumerate(TOTAL_FIGURES)}
LINE_WIDTH: Final = len(LINE_FIGURES)
NO_LINE: Final[tuple[int | None, ...]] = (None,) * LINE_WIDTH
NO_TOTALS: Final[tuple[int | None, ...]] = (None,) * len(TOTAL_FIGURES)

#: By which counters each device is judged to go on or to start afresh: count first, then money.
LEADING: Final[dict[Device, tuple[str, ...]]] = {
    Device.CONTROL_BOARD: ("paid_count", "paid_value_minor"),
    Device.COIN_MECHANISM: ("cash_count", "cash_value_minor", "cash_in_minor"),
    Device.BILL_VALIDATOR: ("bills_in_minor",),
    Device.CASHLESS_1: ("cashless_1_count", "cashless_1_value_minor"),
    Device.CASHLESS_2: ("cashless_2_count", "cashless_2_value_minor"),
    Device.TOKEN_MECHANISM: ("vend_token_count", "value_token_count", "value_token_value_minor"),
}


def line_counters(**counters: int | None) -> tuple[int | None, ...]:
    """Counters of a selection by name, as `paid_count=4`; those not named are blank.

    Raises LookupError for a name that is none of LINE_FIGURES.
    """
    return _by_name(LINE_INDEX, counters)


def total_counters(**counters: int | None) -> tuple[int | None, ...]:
    """Counters of the machine by name, as `paid_count=4`; those not named are blank.

    Raises LookupError for a name that is none of TOTAL_FIGURES.
    """
    return _by_name(TOTAL_INDEX, counters)


def _by_name(index: dict[str, int], counters: dict[str, int | None]) -> tuple[int | None, ...]:
    values: list[int | None] = [None] * len(index)
    for name, value in counters.items():
        if name not in index:
            raise LookupError(f"no counter is named {name!r}; known are {', '.join(index)}")
        values[index[name]] = value
    return tuple(values)
