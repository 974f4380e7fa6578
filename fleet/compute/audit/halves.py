"""Machines that send never-reset and since-reset figures the wrong way round.

Nothing can have been sold more often since the last reset than ever. Where a whole segment breaks
this and never keeps it, the machine has its halves swapped; where a single figure does, a counter
has passed its last digit or was damaged.
"""

from collections.abc import Iterable, Sequence

from fleet.compute.audit.notices import Notices
from fleet.compute.audit.report import PaymentLine, Selection
from fleet.compute.audit.totals import Amounts, Counters, Totals

Pair = tuple[int | None, int | None]


def find_swapped(
    selections: Sequence[Selection],
    stray: Sequence[PaymentLine],
    totals: Totals,
    notices: Notices,
) -> tuple[str, ...]:
    """The ids of segments sent the wrong way round; lone breaches are warned of."""
    payment_lines = [line for selection in selections for line in selection.payment_lines]
    families: tuple[tuple[str, list[Pair]], ...] = (
        ("VA1", _pairs([totals.paid])),
        ("VA2", _pairs([totals.test])),
        ("VA3", _pairs([totals.free])),
        ("CA2", _pairs([totals.cash_sales])),
        ("CA3", _cash_in_pairs(totals)),
        ("CA4", _amount_pairs([totals.cash_out.dispensed, totals.cash_out.by_hand])),
        ("DA2", _pairs([totals.cashless_1.sales])),
        ("DB2", _pairs([totals.cashless_2.sales])),
        ("PA2", _pairs(selection.paid for selection in selections)),
        ("PA3", _pairs(selection.test for selection in selections)),
        ("PA4", _pairs(selection.free for selection in selections)),
        ("PA7", _pairs(line.paid for line in (*payment_lines, *stray))),
    )
    swapped = []
    for segment, pairs in families:
        more_since, more_ever = _tally(pairs)
        if not more_since:
            continue
        if more_since >= 2 and not more_ever:
            swapped.append(segment)
            notices.add("halves_swapped", segment)
        else:
            detail = f"{more_since} of {more_since + more_ever} figures"
            notices.add("since_reset_exceeds_ever", segment, None, detail)
    return tuple(swapped)


def _pairs(counters: Iterable[Counters]) -> list[Pair]:
    pairs: list[Pair] = []
    for each in counters:
        pairs.append((each.count_ever, each.count_since_reset))
        pairs.append((each.value_ever_minor, each.value_since_reset_minor))
    return pairs


def _amount_pairs(amounts: Iterable[Amounts]) -> list[Pair]:
    return [(each.ever_minor, each.since_reset_minor) for each in amounts]


def _cash_in_pairs(totals: Totals) -> list[Pair]:
    cash_in = totals.cash_in
    return _amount_pairs([cash_in.total, cash_in.to_box, cash_in.to_tubes, cash_in.bills])


def _tally(pairs: Iterable[Pair]) -> tuple[int, int]:
    """How many pairs have more since the reset than ever, and how many have less."""
    more_since = more_ever = 0
    for ever, since_reset in pairs:
        if ever is None or since_reset is None:
            continue
        if since_reset > ever:
            more_since += 1
        elif ever > since_reset:
            more_ever += 1
    return more_since, more_ever
