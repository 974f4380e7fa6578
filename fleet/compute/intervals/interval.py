"""What one machine sold between two of its reads."""

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Final

from fleet.compute.intervals.counting import How
from fleet.compute.intervals.decisions import Decision
from fleet.compute.intervals.drift import Moment
from fleet.compute.intervals.figures import Device

#: Payment devices of PA7 whose vends are paid in cash, and by a cashless reader.
CASH: Final = frozenset({"CA"})
CASHLESS: Final = frozenset({"DA", "DB"})


@dataclass(frozen=True, slots=True)
class Note:
    """Something to know, named. `where` is a selection, a device or a figure."""

    code: str
    text: str
    where: str = ""


class CounterState(StrEnum):
    """What became of a device's counters."""

    ABSENT = "absent"
    SAME = "same"
    WRAPPED = "wrapped"
    NEW_EPOCH = "new_epoch"


class NewEpochReason(StrEnum):
    """Why a device's counters are taken to start afresh."""

    SERIAL_CHANGED = "serial_changed"
    INITIALISED = "initialised"
    COUNTER_FELL = "counter_fell"


class Treatment(StrEnum):
    """What was done with a device's counters."""

    COUNTED = "counted"
    COUNTED_FROM_ZERO = "counted_from_zero"
    CARRIED_ON = "carried_on"
    LEFT_OUT = "left_out"
    AWAITS_DECISION = "awaits_decision"


@dataclass(frozen=True, slots=True)
class DeviceState:
    """One device between the two reads. `reason` only where a new epoch begins."""

    device: Device
    state: CounterState
    treatment: Treatment
    reason: NewEpochReason | None = None
    text: str = ""


@dataclass(frozen=True, slots=True)
class Sold:
    """Vends and money of one selection, or what the machine counted and no selection accounts for.

    None is unknown, not zero. Discounts are part of paid, not beside it.
    """

    paid_count: int | None = None
    paid_value_minor: int | None = None
    test_count: int | None = None
    test_value_minor: int | None = None
    free_count: int | None = None
    free_value_minor: int | None = None
    discount_count: int | None = None
    discount_value_minor: int | None = None

    @property
    def units_out(self) -> int | None:
        """Products that left: paid, free and test. A kind never sent counts as none."""
        if self.paid_count is None:
            return None
        return self.paid_count + (self.test_count or 0) + (self.free_count or 0)


@dataclass(frozen=True, slots=True)
class MachineSold:
    """The machine's own totals between the two reads, in the order of TOTAL_FIGURES.

    Each is None where the machine does not send it or its device starts afresh undecided.
    """

    paid_count: int | None = None
    paid_value_minor: int | None = None
    test_count: int | None = None
    test_value_minor: int | None = None
    free_count: int | None = None
    free_value_minor: int | None = None
    discount_count: int | None = None
    discount_value_minor: int | None = None
    cash_count: int | None = None
    cash_value_minor: int | None = None
    cash_in_minor: int | None = None
    cash_to_box_minor: int | None = None
    cash_to_tubes_minor: int | None = None
    cash_out_minor: int | None = None
    cash_out_by_hand_minor: int | None = None
    cash_overpay_minor: int | None = None
    coins_filled_by_hand_minor: int | None = None
    bills_in_minor: int | None = None
    cashless_1_count: int | None = None
    cashless_1_value_minor: int | None = None
    cashless_1_revalued_minor: int | None = None
    cashless_2_count: int | None = None
    cashless_2_value_minor: int | None = None
    cashless_2_revalued_minor: int | None = None
    vend_token_count: int | None = None
    vend_token_value_minor: int | None = None
    value_token_count: int | None = None
    value_token_value_minor: int | None = None


@dataclass(frozen=True, slots=True)
class PaymentSold:
    """Paid vends of a selection by one payment device, price list and price: part of paid."""

    device: str | None
    price_list: int | None
    price_minor: int | None
    count: int | None
    value_minor: int | None
    how: How = How.COUNTED


class Confidence(StrEnum):
    """How far a sign of running dry is to be believed, best first."""

    STRONG = "strong"
    FAIR = "fair"
    WEAK = "weak"


@dataclass(frozen=True, slots=True)
class RanDry:
    """One sign that a selection ran dry. `at` is the machine's own time where it is told."""

    evidence: str
    confidence: Confidence
    text: str
    at: datetime | None = None


class Matched(StrEnum):
    """How a selection of one read was found in the other."""

    EXACT = "exact"
    NORMALISED = "normalised"
    APPEARED = "appeared"
    VANISHED = "vanished"


@dataclass(frozen=True, slots=True)
class LineSold:
    """What one selection sold. Cash and cashless come from its payment lines and are part of paid.

    `how` tells of each figure that was not plainly counted, as ("paid_count", How.WRAPPED).
    """

    selection: str
    ordinal: int
    matched: Matched
    price_minor_before: int | None
    price_minor_after: int | None
    sold: Sold
    payments: tuple[PaymentSold, ...] = ()
    ran_dry: tuple[RanDry, ...] = ()
    how: tuple[tuple[str, How], ...] = ()

    @property
    def cash_count(self) -> int | None:
        """Vends paid in cash; None if no payment line is sent or one in cash is unknown."""
        return self._added([line.count for line in self.payments if line.device in CASH])

    @property
    def cash_value_minor(self) -> int | None:
        """Money of the vends paid in cash, as `cash_count`."""
        return self._added([line.value_minor for line in self.payments if line.device in CASH])

    @property
    def cashless_count(self) -> int | None:
        """Vends paid by either cashless reader, as `cash_count`."""
        return self._added([line.count for line in self.payments if line.device in CASHLESS])

    @property
    def cashless_value_minor(self) -> int | None:
        """Money of the vends paid by either cashless reader, as `cash_count`."""
        return self._added([line.value_minor for line in self.payments if line.device in CASHLESS])

    def _added(self, amounts: list[int | None]) -> int | None:
        if not self.payments:
            return None
        total = 0
        for amount in amounts:
            if amount is None:
                return None
            total += amount
        return total


@dataclass(frozen=True, slots=True)
class Balance:
    """One figure over the machine: its own total, the sum over selections, and what is left.

    `machine == lines + unassigned`, or `why_not` says why that does not hold.
    """

    figure: str
    machine: int | None
    lines: int
    unassigned: int
    why_not: str | None = None


class Quality(StrEnum):
    """What an interval's figures are worth: whole; whole with remarks; with gaps; undecided.

    Notes on the machine's clock do not touch the figures and so not the quality.
    """

    WHOLE = "whole"
    NOTED = "noted"
    PARTIAL = "partial"
    AWAITS_DECISION = "awaits_decision"


@dataclass(frozen=True, slots=True)
class Interval:
    """What one machine sold in [start, end) between two reads, by selection and in total.

    Money is in minor units of `currency`, with `exponent` decimals as read. `unassigned` is what
    the machine counted and no selection accounts for. `decisions` are those that were applied.
    """

    from_key: str
    to_key: str
    start: Moment
    end: Moment
    currency: str | None
    exponent: int
    devices: tuple[DeviceState, ...]
    lines: tuple[LineSold, ...]
    machine: MachineSold
    unassigned: Sold
    balances: tuple[Balance, ...]
    why_not: tuple[str, ...]
    notes: tuple[Note, ...]
    quality: Quality
    decisions: tuple[Decision, ...] = ()

    def device(self, device: Device) -> DeviceState:
        """The state of one device."""
        return next(state for state in self.devices if state.device is device)

    def line(self, selection: str, ordinal: int = 1) -> LineSold:
        """One selection's line. Raises LookupError if the interval has none such."""
        for line in self.lines:
            if line.selection == selection and line.ordinal == ordinal:
                return line
        raise LookupError(f"no selection {selection!r} between {self.from_key} and {self.to_key}")

    def note_codes(self) -> frozenset[str]:
        """The names of all notes."""
        return frozenset(note.code for note in self.notes)
