"""Money checks within one file. Each may warn; none rejects.

The first four held exactly on files of real machines and are worth a look where they fail. The
hints (tube contents, flow of cash) are often off by an opening float that nobody entered.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from fleet.compute.audit.dictionary import Period, counter_code, modulus
from fleet.compute.audit.notices import Notices
from fleet.compute.audit.report import CoinLine, Selection, Tubes
from fleet.compute.audit.totals import Amounts, Counters, Totals


@dataclass(frozen=True, slots=True)
class Figures:
    """What the checks look at, with swapped halves already put right."""

    totals: Totals
    selections: Sequence[Selection]
    coins: Sequence[CoinLine]
    tubes: Tubes
    swapped: frozenset[str]
    sent: frozenset[str]

    def right(self, segment: str, counters: Counters) -> Counters:
        """A segment's counters, exchanged if the machine sends that segment swapped."""
        return counters.exchanged() if segment in self.swapped else counters


def check_money(figures: Figures, notices: Notices) -> None:
    """All checks that the file gives figures for."""
    for period in ("ever", "since_reset"):
        _cash_in(figures, period, notices)
        _coins(figures, period, notices)
        _flow(figures, period, notices)
    _payments(figures, notices)
    _selections(figures, notices)
    _tubes(figures, notices)


def _of(amounts: Amounts, period: str) -> int | None:
    return amounts.ever_minor if period == "ever" else amounts.since_reset_minor


def _code(old: str, new: str, period: str) -> str:
    return old if period == "since_reset" else new


def _compare(code: str, where: str, stated: int | None, found: int | None, n: Notices) -> None:
    if stated is not None and found is not None and stated != found:
        n.add(code, where, None, f"stated {stated}, found {found}")


def _sum(values: Iterable[int | None]) -> int | None:
    """The sum, or None where any part is unknown or there is none."""
    known = list(values)
    if not known or None in known:
        return None
    return sum(value for value in known if value is not None)


def _cash_in(figures: Figures, period: str, notices: Notices) -> None:
    """CA301 = CA302 + CA303 + bills."""
    cash_in = figures.totals.cash_in
    parts = [cash_in.to_box, cash_in.to_tubes, cash_in.bills]
    where = _code("CA301", "CA305", period)
    found = _sum(_of(part, period) for part in parts)
    _compare("cash_in_not_sum", where, _of(cash_in.total, period), found, notices)


def _coins(figures: Figures, period: str, notices: Notices) -> None:
    """CA3 and CA4 against the counts by coin value (CA11, CA12)."""
    if not figures.coins:
        return
    cash_in, ever = figures.totals.cash_in, period == "ever"

    def worth(count: Callable[[CoinLine], int | None]) -> int | None:
        counted = [(line.value_minor, count(line)) for line in figures.coins]
        return _sum(value * n for value, n in counted if n is not None)

    if "CA11" in figures.sent:
        taken = worth(lambda line: line.in_ever if ever else line.in_since_reset)
        bills = _of(cash_in.bills, period) or 0
        total = _of(cash_in.total, period)
        coins = None if total is None else total - bills
        _compare("coins_in_not_sum", _code("CA301", "CA305", period), coins, taken, notices)
        boxed = worth(lambda line: line.to_box_ever if ever else line.to_box_since_reset)
        where = _code("CA302", "CA306", period)
        _compare("coins_to_box_not_sum", where, _of(cash_in.to_box, period), boxed, notices)
        tubed = worth(lambda line: line.to_tubes_ever if ever else line.to_tubes_since_reset)
        where = _code("CA303", "CA307", period)
        _compare("coins_to_tubes_not_sum", where, _of(cash_in.to_tubes, period), tubed, notices)
    if "CA12" in figures.sent:
        paid = worth(lambda line: line.out_ever if ever else line.out_since_reset)
        stated = _of(figures.totals.cash_out.dispensed, period)
        _compare("coins_out_not_sum", _code("CA401", "CA403", period), stated, paid, notices)


_MEASURES: tuple[tuple[str, Period, Callable[[Counters], int | None]], ...] = (
    ("count", "I", lambda counters: counters.count_ever),
    ("value", "I", lambda counters: counters.value_ever_minor),
    ("count", "R", lambda counters: counters.count_since_reset),
    ("value", "R", lambda counters: counters.value_since_reset_minor),
)


def _payments(figures: Figures, notices: Notices) -> None:
    """VA1 = CA2 + DA2 + DB2 + value tokens; a payment system that sends nothing adds nothing."""
    totals = figures.totals
    paid = figures.right("VA1", totals.paid)
    parts = [
        figures.right(segment, counters)
        for segment, counters in (
            ("CA2", totals.cash_sales),
            ("DA2", totals.cashless_1.sales),
            ("DB2", totals.cashless_2.sales),
            ("TA2", totals.value_tokens),
            ("TA2", totals.vend_tokens),
        )
        if segment in figures.sent and not counters.is_blank()
    ]
    if not parts:
        return
    for measure, period, pick in _MEASURES:
        found = _sum(pick(part) for part in parts)
        where = counter_code("VA1", "paid", measure, period)
        _compare_vends("sales_not_sum_of_payments", where, pick(paid), found, notices)


def _selections(figures: Figures, notices: Notices) -> None:
    """VA1 = sum of PA2 = sum of PA7."""
    paid = figures.right("VA1", figures.totals.paid)
    own = [
        figures.right("PA2", selection.paid)
        for selection in figures.selections
        if "PA2" in selection.segments_sent
    ]
    lines = [
        figures.right("PA7", line.paid)
        for selection in figures.selections
        for line in selection.payment_lines
    ]
    for measure, period, pick in _MEASURES:
        stated = pick(paid)
        for code, parts in (
            ("sales_not_sum_of_selections", own),
            ("sales_not_sum_of_payment_lines", lines),
        ):
            found = _sum(pick(part) for part in parts)
            where = counter_code("VA1", "paid", measure, period)
            _compare_vends(code, where, stated, found, notices)


def _compare_vends(
    code: str, where: str, stated: int | None, found: int | None, notices: Notices
) -> None:
    """Compares modulo the total's width: either side may have passed its last digit."""
    if stated is not None and found is not None and (stated - found) % modulus(where):
        _compare(code, where, stated, found, notices)


def _tubes(figures: Figures, notices: Notices) -> None:
    """Hints: CA15 = sum of CA17, and CA307 - CA403 = tube contents."""
    tubes = figures.tubes
    found = _sum(
        None if line.value_minor is None or line.count is None else line.value_minor * line.count
        for line in tubes.lines
    )
    _compare("tubes_not_sum", "CA1501", tubes.total_value_minor, found, notices)
    went_in = figures.totals.cash_in.to_tubes.ever_minor
    came_out = figures.totals.cash_out.dispensed.ever_minor
    if went_in is not None and came_out is not None:
        contents = tubes.total_value_minor if tubes.total_value_minor is not None else found
        _compare("tubes_not_flow", "CA1501", contents, went_in - came_out, notices)


def _flow(figures: Figures, period: str, notices: Notices) -> None:
    """Hint: cash in - out = cash sales + filled - out by hand + overpaid + cash revalued."""
    totals = figures.totals
    sales = figures.right("CA2", totals.cash_sales)
    sold = sales.value_ever_minor if period == "ever" else sales.value_since_reset_minor
    took = _of(totals.cash_in.total, period)
    gave = _of(totals.cash_out.dispensed, period)
    if sold is None or took is None or gave is None:
        return
    revalued = [totals.cashless_1.revalued, totals.cashless_2.revalued]
    added = [totals.coins_filled_by_hand, totals.cash_overpay, *revalued]
    expected = sold + sum(_of(part, period) or 0 for part in added)
    expected -= _of(totals.cash_out.by_hand, period) or 0
    where = _code("CA301", "CA305", period)
    _compare("cash_flow_not_balanced", where, took - gave, expected, notices)
