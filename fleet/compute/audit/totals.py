"""Counters and the totals of a whole machine, by the segments that carry them."""

from dataclasses import dataclass
from typing import Literal

BillUnit = Literal["minor", "whole", "undecided"]


@dataclass(frozen=True, slots=True)
class Counters:
    """A count and its money, each since the machine was initialised and since the last reset."""

    count_ever: int | None = None
    value_ever_minor: int | None = None
    count_since_reset: int | None = None
    value_since_reset_minor: int | None = None

    def exchanged(self) -> "Counters":
        """The same with its halves exchanged, for a machine that sends them the wrong way round."""
        return Counters(
            self.count_since_reset,
            self.value_since_reset_minor,
            self.count_ever,
            self.value_ever_minor,
        )

    def is_blank(self) -> bool:
        """Whether the machine sent none of the four."""
        return self == NO_COUNTERS


NO_COUNTERS = Counters()


@dataclass(frozen=True, slots=True)
class Amounts:
    """Money only, since the machine was initialised and since the last reset."""

    ever_minor: int | None = None
    since_reset_minor: int | None = None


NO_AMOUNTS = Amounts()


@dataclass(frozen=True, slots=True)
class CashIn:
    """CA3. `bills` is CA309/310, or CA304/308 in the unit that makes the total add up.

    `bills_old_as_sent` keeps CA308 and CA304 as the integers that were read, whatever their unit.
    `bill_unit` is None where the old pair was not needed.
    """

    total: Amounts = NO_AMOUNTS
    to_box: Amounts = NO_AMOUNTS
    to_tubes: Amounts = NO_AMOUNTS
    bills: Amounts = NO_AMOUNTS
    bills_to_recycler: Amounts = NO_AMOUNTS
    bills_old_as_sent: Amounts = NO_AMOUNTS
    bill_unit: BillUnit | None = None


@dataclass(frozen=True, slots=True)
class CashOut:
    """CA4. Dispensed is change and hand dispensing together; `by_hand` is the part by hand."""

    dispensed: Amounts = NO_AMOUNTS
    by_hand: Amounts = NO_AMOUNTS
    bills_dispensed: Amounts = NO_AMOUNTS
    bills_by_hand: Amounts = NO_AMOUNTS
    bills_recycler_to_box: Amounts = NO_AMOUNTS


@dataclass(frozen=True, slots=True)
class Cashless:
    """DA2 to DA10 or DB2 to DB10: one cashless reader."""

    sales: Counters = NO_COUNTERS
    debited: Amounts = NO_AMOUNTS
    revalued: Amounts = NO_AMOUNTS
    discounts: Counters = NO_COUNTERS
    surcharges: Counters = NO_COUNTERS
    revalue_incentive: Amounts = NO_AMOUNTS
    overpay: Amounts = NO_AMOUNTS
    mixed_payment_cashless_part: Counters = NO_COUNTERS


@dataclass(frozen=True, slots=True)
class Totals:
    """The machine's own totals.

    `paid` (VA1) counts every paid vend by any payment, and leaves out free and test vends;
    stock leaves the machine by all three.
    """

    paid: Counters = NO_COUNTERS
    paid_discounts: Counters = NO_COUNTERS
    paid_surcharges: Counters = NO_COUNTERS
    test: Counters = NO_COUNTERS
    test_cash_to_box: Amounts = NO_AMOUNTS
    free: Counters = NO_COUNTERS
    cash_sales: Counters = NO_COUNTERS
    cash_in: CashIn = CashIn()
    cash_out: CashOut = CashOut()
    cash_discounts: Counters = NO_COUNTERS
    cash_surcharges: Counters = NO_COUNTERS
    cash_overpay: Amounts = NO_AMOUNTS
    cash_sales_while_exact_change: Amounts = NO_AMOUNTS
    coins_filled_by_hand: Amounts = NO_AMOUNTS
    bills_filled_by_hand: Amounts = NO_AMOUNTS
    credited_to_mechanism: Amounts = NO_AMOUNTS
    cashless_1: Cashless = Cashless()
    cashless_2: Cashless = Cashless()
    vend_tokens: Counters = NO_COUNTERS
    value_tokens: Counters = NO_COUNTERS
    tokens_in: Amounts = NO_AMOUNTS
    tokens_out: Amounts = NO_AMOUNTS
    token_overpay: Amounts = NO_AMOUNTS
    tokens_filled: Amounts = NO_AMOUNTS


NO_TOTALS = Totals()
