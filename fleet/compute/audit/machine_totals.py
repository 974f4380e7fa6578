"""The machine's totals: vends (VA), cash (CA2 to CA10, CA16), cashless (DA, DB), tokens (TA)."""

from fleet.compute.audit.dictionary import modulus
from fleet.compute.audit.identity import Sent
from fleet.compute.audit.report import Segment
from fleet.compute.audit.totals import (
    Amounts,
    BillUnit,
    CashIn,
    Cashless,
    CashOut,
    Counters,
    Totals,
)
from fleet.compute.audit.values import Places, Values, places

_CASH_IN = {
    group: places("CA3", group)
    for group in ("total", "to_box", "to_tubes", "bills", "bills_to_recycler", "bills_old")
}
# CA301 to CA310 are all of one width, whichever half they are of.
_CASH_IN_MODULUS = modulus("CA305")
_CASH_OUT = {
    group: places("CA4", group)
    for group in (
        "dispensed",
        "by_hand",
        "bills_dispensed",
        "bills_by_hand",
        "bills_recycler_to_box",
    )
}


def _cashless_places(reader: str) -> dict[str, tuple[str, Places]]:
    return {
        group: (f"{reader}{number}", places(f"{reader}{number}", group))
        for number, group in (
            (2, "sales"),
            (3, "debited"),
            (4, "revalued"),
            (5, "discounts"),
            (5, "surcharges"),
            (6, "revalue_incentive"),
            (9, "overpay"),
            (10, "mixed"),
        )
    }


_CASHLESS = {reader: _cashless_places(reader) for reader in ("DA", "DB")}
_OTHERS = {
    (segment, group): places(segment, group)
    for segment, group in (
        ("VA1", "paid"),
        ("VA1", "discounts"),
        ("VA1", "surcharges"),
        ("VA2", "test"),
        ("VA2", "test_cash_to_box"),
        ("VA3", "free"),
        ("CA2", "sales"),
        ("CA7", "discounts"),
        ("CA7", "surcharges"),
        ("CA8", "overpay"),
        ("CA9", "sales_while_exact_change"),
        ("CA10", "coins_filled"),
        ("CA10", "bills_filled"),
        ("CA16", "credited"),
        ("TA2", "vend_tokens"),
        ("TA2", "value_tokens"),
        ("TA3", "in"),
        ("TA4", "out"),
        ("TA5", "overpay"),
        ("TA6", "filled"),
    )
}


def read_totals(sent: Sent, decimals: int, values: Values) -> Totals:
    """All totals that the file carries; `decimals` of the currency, for bills in whole units."""

    def counters(segment: str, group: str) -> Counters:
        return values.counters(sent.get(segment), _OTHERS[segment, group])

    def amounts(segment: str, group: str) -> Amounts:
        return values.amounts(sent.get(segment), _OTHERS[segment, group])

    return Totals(
        paid=counters("VA1", "paid"),
        paid_discounts=counters("VA1", "discounts"),
        paid_surcharges=counters("VA1", "surcharges"),
        test=counters("VA2", "test"),
        test_cash_to_box=amounts("VA2", "test_cash_to_box"),
        free=counters("VA3", "free"),
        cash_sales=counters("CA2", "sales"),
        cash_in=_cash_in(sent.get("CA3"), decimals, values),
        cash_out=_cash_out(sent.get("CA4"), values),
        cash_discounts=counters("CA7", "discounts"),
        cash_surcharges=counters("CA7", "surcharges"),
        cash_overpay=amounts("CA8", "overpay"),
        cash_sales_while_exact_change=amounts("CA9", "sales_while_exact_change"),
        coins_filled_by_hand=amounts("CA10", "coins_filled"),
        bills_filled_by_hand=amounts("CA10", "bills_filled"),
        credited_to_mechanism=amounts("CA16", "credited"),
        cashless_1=_cashless("DA", sent, values),
        cashless_2=_cashless("DB", sent, values),
        vend_tokens=counters("TA2", "vend_tokens"),
        value_tokens=counters("TA2", "value_tokens"),
        tokens_in=amounts("TA3", "in"),
        tokens_out=amounts("TA4", "out"),
        token_overpay=amounts("TA5", "overpay"),
        tokens_filled=amounts("TA6", "filled"),
    )


def _cash_in(segment: Segment | None, decimals: int, values: Values) -> CashIn:
    if segment is None:
        return CashIn()
    read = {group: values.amounts(segment, where) for group, where in _CASH_IN.items()}
    cash_in = CashIn(
        total=read["total"],
        to_box=read["to_box"],
        to_tubes=read["to_tubes"],
        bills=read["bills"],
        bills_to_recycler=read["bills_to_recycler"],
        bills_old_as_sent=read["bills_old"],
    )
    if read["bills"] != Amounts() or read["bills_old"] == Amounts():
        return cash_in
    bills, unit = _old_bills(cash_in, 10**decimals)
    if unit == "whole":
        values.notices.add("bill_unit_whole", "CA304", segment.line)
    elif unit == "undecided":
        values.notices.add("bill_unit_undecided", "CA304", segment.line)
    return CashIn(
        total=cash_in.total,
        to_box=cash_in.to_box,
        to_tubes=cash_in.to_tubes,
        bills=bills,
        bills_to_recycler=cash_in.bills_to_recycler,
        bills_old_as_sent=cash_in.bills_old_as_sent,
        bill_unit=unit,
    )


def _old_bills(cash_in: CashIn, units_per_whole: int) -> tuple[Amounts, BillUnit]:
    """CA304 and CA308 in minor units, by the unit that makes CA301 = CA302 + CA303 + bills.

    Two forms are installed: minor units, and whole currency units. A period whose bills are 0 or
    whose sum is blank proves nothing; the periods that prove something must agree. The total
    passes its last digit before its parts do, so the rest is taken modulo its width.
    """
    old = cash_in.bills_old_as_sent
    pairs = (
        (
            old.ever_minor,
            cash_in.total.ever_minor,
            cash_in.to_box.ever_minor,
            cash_in.to_tubes.ever_minor,
        ),
        (
            old.since_reset_minor,
            cash_in.total.since_reset_minor,
            cash_in.to_box.since_reset_minor,
            cash_in.to_tubes.since_reset_minor,
        ),
    )
    fits: list[set[BillUnit]] = []
    for sent, total, box, tubes in pairs:
        if not sent or total is None or box is None or tubes is None:
            continue
        rest = (total - box - tubes) % _CASH_IN_MODULUS
        if units_per_whole == 1:
            fits.append({"minor"} if rest == sent else set())
        else:
            fitting: set[BillUnit] = set()
            if rest == sent:
                fitting.add("minor")
            if rest == sent * units_per_whole % _CASH_IN_MODULUS:
                fitting.add("whole")
            fits.append(fitting)
    if not fits:
        # Nothing but zeros and blanks is the same in either unit; anything else stays open.
        if not old.ever_minor and not old.since_reset_minor:
            return old, "minor"
        return Amounts(), "undecided"
    proved = [fitting for fitting in fits if fitting]
    common = set.intersection(*proved) if proved else set()
    if common == {"minor"}:
        return old, "minor"
    if common == {"whole"}:
        return Amounts(
            None if old.ever_minor is None else old.ever_minor * units_per_whole,
            None if old.since_reset_minor is None else old.since_reset_minor * units_per_whole,
        ), "whole"
    return Amounts(), "undecided"


def _cash_out(segment: Segment | None, values: Values) -> CashOut:
    if segment is None:
        return CashOut()
    read = {group: values.amounts(segment, where) for group, where in _CASH_OUT.items()}
    return CashOut(**read)


def _cashless(reader: str, sent: Sent, values: Values) -> Cashless:
    where = _CASHLESS[reader]

    def counters(group: str) -> Counters:
        segment, spots = where[group]
        return values.counters(sent.get(segment), spots)

    def amounts(group: str) -> Amounts:
        segment, spots = where[group]
        return values.amounts(sent.get(segment), spots)

    return Cashless(
        sales=counters("sales"),
        debited=amounts("debited"),
        revalued=amounts("revalued"),
        discounts=counters("discounts"),
        surcharges=counters("surcharges"),
        revalue_incentive=amounts("revalue_incentive"),
        overpay=amounts("overpay"),
        mixed_payment_cashless_part=counters("mixed"),
    )
