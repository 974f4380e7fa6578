"""Money checks within one file. Each may warn; none rejects.

The first four held exactly on files of real machines and are worth a look where they fail. The
hints (tube contents, flow of cash) are often off by an opening float that nobody entered.

A counter shows its amount modulo ten to its width, so two sides of a check are compared modulo
the narrowest of them: any wider and a busy machine would warn for good once one counter had begun
again from nought. A fault of a whole multiple goes unseen, which no fault is likely to be.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from math import gcd
from operator import attrgetter

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


def _compare(
    code: str, where: str, stated: int | None, found: int | None, width: int, n: Notices
) -> None:
    """Warns where the two differ by more than whole turns of the narrowest counter, `width`."""
    if stated is not None and found is not None and (stated - found) % width:
        n.add(code, where, None, f"stated {stated}, found {found}")


def _sum(values: Iterable[int | None]) -> int | None:
    """The sum, or None where any part is unknown or there is none."""
    known: list[int] = []
    for value in values:
        if value is None:
            return None
        known.append(value)
    return sum(known) if known else None


def _widths(segment: str, *groups: str) -> dict[str, int]:
    """The narrowest modulus of a segment's money in these groups, by period."""
    codes: dict[str, Sequence[str]] = {
        "ever": [counter_code(segment, group, "value", "I") for group in groups],
        "since_reset": [counter_code(segment, group, "value", "R") for group in groups],
    }
    return {period: gcd(*map(modulus, each)) for period, each in codes.items()}


_CASH_IN = _widths("CA3", "total", "to_box", "to_tubes", "bills")
_CASH_OUT = _widths("CA4", "dispensed", "by_hand")
_COIN_COUNT = {"ever": modulus("CA1105"), "since_reset": modulus("CA1102")}
_TUBE_FLOW = gcd(modulus("CA307"), modulus("CA403"))
_FLOW = {
    period: gcd(
        *(
            _widths(segment, group)[period]
            for segment, group in (
                ("CA2", "sales"),
                ("CA3", "total"),
                ("CA4", "dispensed"),
                ("CA4", "by_hand"),
                ("CA8", "overpay"),
                ("CA10", "coins_filled"),
                ("DA4", "revalued"),
                ("DB4", "revalued"),
            )
        )
    )
    for period in ("ever", "since_reset")
}


def _cash_in(figures: Figures, period: str, notices: Notices) -> None:
    """CA301 = CA302 + CA303 + bills."""
    cash_in = figures.totals.cash_in
    parts = [cash_in.to_box, cash_in.to_tubes, cash_in.bills]
    where = _code("CA301", "CA305", period)
    found = _sum(_of(part, period) for part in parts)
    stated = _of(cash_in.total, period)
    _compare("cash_in_not_sum", where, stated, found, _CASH_IN[period], notices)


def _coins(figures: Figures, period: str, notices: Notices) -> None:
    """CA3 and CA4 against the counts by coin value (CA11, CA12)."""
    if not figures.coins:
        return
    cash_in, ever = figures.totals.cash_in, period == "ever"
    # A count that begins again takes its coin's value times its modulus out of the sum.
    turn = gcd(*(line.value_minor * _COIN_COUNT[period] for line in figures.coins))
    width_in, width_out = gcd(turn, _CASH_IN[period]), gcd(turn, _CASH_OUT[period])

    def worth(count: Callable[[CoinLine], int | None]) -> int | None:
        counted = [(line.value_minor, count(line)) for line in figures.coins]
        return _sum(value * n for value, n in counted if n is not None)

    if "CA11" in figures.sent:
        taken = worth(lambda line: line.in_ever if ever else line.in_since_reset)
        total, bills = _of(cash_in.total, period), _of(cash_in.bills, period)
        coins = None if total is None else total - (bills or 0)
        if cash_in.bill_unit == "undecided":
            coins = None
        where = _code("CA301", "CA305", period)
        _compare("coins_in_not_sum", where, coins, taken, width_in, notices)
        boxed = worth(lambda line: line.to_box_ever if ever else line.to_box_since_reset)
        where, stated = _code("CA302", "CA306", period), _of(cash_in.to_box, period)
        _compare("coins_to_box_not_sum", where, stated, boxed, width_in, notices)
        tubed = worth(lambda line: line.to_tubes_ever if ever else line.to_tubes_since_reset)
        where, stated = _code("CA303", "CA307", period), _of(cash_in.to_tubes, period)
        _compare("coins_to_tubes_not_sum", where, stated, tubed, width_in, notices)
    if "CA12" in figures.sent:
        paid = worth(lambda line: line.out_ever if ever else line.out_since_reset)
        stated = _of(figures.totals.cash_out.dispensed, period)
        where = _code("CA401", "CA403", period)
        _compare("coins_out_not_sum", where, stated, paid, width_out, notices)


_MEASURES: tuple[tuple[str, Period, Callable[[Counters], int | None]], ...] = (
    ("count", "I", attrgetter("count_ever")),
    ("value", "I", attrgetter("value_ever_minor")),
    ("count", "R", attrgetter("count_since_reset")),
    ("value", "R", attrgetter("value_since_reset_minor")),
)


def _modulus_of(figures: Figures, segment: str, group: str, measure: str, period: Period) -> int:
    """A counter's modulus; where the machine sends the segment swapped, of the place it stands."""
    stands: Period = period
    if segment in figures.swapped:
        stands = "R" if period == "I" else "I"
    return modulus(counter_code(segment, group, measure, stands))


def _compare_vends(
    code: str,
    figures: Figures,
    counters: Sequence[Counters],
    groups: Iterable[tuple[str, str]],
    notices: Notices,
) -> None:
    """VA1 against the sum of `counters`, which are of these segments and groups."""
    paid = figures.right("VA1", figures.totals.paid)
    compared = (("VA1", "paid"), *groups)
    for measure, period, pick in _MEASURES:
        stated = pick(paid)
        if stated is None:
            continue
        width = gcd(*(_modulus_of(figures, *each, measure, period) for each in compared))
        where = counter_code("VA1", "paid", measure, period)
        _compare(code, where, stated, _sum(map(pick, counters)), width, notices)


def _payments(figures: Figures, notices: Notices) -> None:
    """VA1 = CA2 + DA2 + DB2 + value tokens; a payment system that sends nothing adds nothing."""
    totals = figures.totals
    parts = {
        (segment, group): figures.right(segment, counters)
        for segment, group, counters in (
            ("CA2", "sales", totals.cash_sales),
            ("DA2", "sales", totals.cashless_1.sales),
            ("DB2", "sales", totals.cashless_2.sales),
            ("TA2", "value_tokens", totals.value_tokens),
            ("TA2", "vend_tokens", totals.vend_tokens),
        )
        if segment in figures.sent and not counters.is_blank()
    }
    code = "sales_not_sum_of_payments"
    _compare_vends(code, figures, list(parts.values()), parts, notices)


def _selections(figures: Figures, notices: Notices) -> None:
    """VA1 = sum of PA2 = sum of PA7."""
    own = [each.paid for each in figures.selections if "PA2" in each.segments_sent]
    lines = [line.paid for each in figures.selections for line in each.payment_lines]
    if "PA2" in figures.swapped:
        own = [counters.exchanged() for counters in own]
    if "PA7" in figures.swapped:
        lines = [counters.exchanged() for counters in lines]
    own_groups, line_groups = [("PA2", "paid")], [("PA7", "paid")]
    _compare_vends("sales_not_sum_of_selections", figures, own, own_groups, notices)
    _compare_vends("sales_not_sum_of_payment_lines", figures, lines, line_groups, notices)


def _tubes(figures: Figures, notices: Notices) -> None:
    """Hints: CA15 = sum of CA17, and CA307 - CA403 = tube contents."""
    tubes = figures.tubes
    found = _sum(
        None if line.value_minor is None or line.count is None else line.value_minor * line.count
        for line in tubes.lines
    )
    stated = tubes.total_value_minor
    _compare("tubes_not_sum", "CA1501", stated, found, _TUBE_FLOW, notices)
    went_in = figures.totals.cash_in.to_tubes.ever_minor
    came_out = figures.totals.cash_out.dispensed.ever_minor
    if went_in is not None and came_out is not None:
        contents = stated if stated is not None else found
        flow = went_in - came_out
        _compare("tubes_not_flow", "CA1501", contents, flow, _TUBE_FLOW, notices)


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
    _compare("cash_flow_not_balanced", where, took - gave, expected, _FLOW[period], notices)
