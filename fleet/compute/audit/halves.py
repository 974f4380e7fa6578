"""Machines that send never-reset and since-reset figures the wrong way round.

Nothing can have been sold more often since the last reset than ever. Where a whole segment breaks
this and never keeps it, the machine has its halves swapped; where a single figure does, a counter
was damaged, or has passed its last digit since the reset and begun again from nought.

The last is no fault, but smallness alone does not prove it: every figure of a young machine is
small beside 100,000,000. It is believed where a sum in the same file proves it: what the counter
should show is more by exactly one or more whole turns of it.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from fleet.compute.audit.dictionary import counter_code, modulus
from fleet.compute.audit.notices import Notices
from fleet.compute.audit.report import PaymentLine, Selection
from fleet.compute.audit.totals import Amounts, Counters, Totals

Measure = Literal["count", "value"]

_MEASURES: tuple[Measure, ...] = ("count", "value")
_MODULI = {
    (segment, measure): modulus(counter_code(segment, group, measure))
    for segment, group in (
        ("VA1", "paid"),
        ("CA2", "sales"),
        ("DA2", "sales"),
        ("DB2", "sales"),
        ("PA2", "paid"),
    )
    for measure in _MEASURES
}
_CASH_IN_MODULUS = modulus("CA305")


@dataclass(frozen=True, slots=True)
class Breach:
    """More since the last reset than ever. `ever` is the smaller figure; `measure` of `figure`."""

    figure: Counters | Amounts
    measure: Measure
    ever: int


def find_swapped(
    selections: Sequence[Selection],
    stray: Sequence[PaymentLine],
    totals: Totals,
    notices: Notices,
) -> tuple[str, ...]:
    """The ids of segments sent the wrong way round; lone breaches are warned of."""
    payment_lines = [line for selection in selections for line in selection.payment_lines]
    families: tuple[tuple[str, Iterable[Counters]], ...] = (
        ("VA1", (totals.paid,)),
        ("VA2", (totals.test,)),
        ("VA3", (totals.free,)),
        ("CA2", (totals.cash_sales,)),
        ("DA2", (totals.cashless_1.sales,)),
        ("DB2", (totals.cashless_2.sales,)),
        ("PA2", [selection.paid for selection in selections]),
        ("PA3", [selection.test for selection in selections]),
        ("PA4", [selection.free for selection in selections]),
        ("PA7", [line.paid for line in (*payment_lines, *stray)]),
    )
    cash_in, cash_out = totals.cash_in, totals.cash_out
    parts = (cash_in.to_box, cash_in.to_tubes, cash_in.bills)
    tallies = [
        *((segment, *_tally(figures)) for segment, figures in families),
        ("CA3", *_tally_amounts((cash_in.total, *parts))),
        ("CA4", *_tally_amounts((cash_out.dispensed, cash_out.by_hand))),
    ]
    swapped = []
    for segment, breaches, kept in tallies:
        if not breaches:
            continue
        if len(breaches) >= 2 and not kept:
            swapped.append(segment)
            notices.add("halves_swapped", segment)
            continue
        left = [b for b in breaches if not _began_again(segment, b, selections, totals)]
        if left:
            detail = f"{len(left)} of {len(breaches) + kept} figures"
            notices.add("since_reset_exceeds_ever", segment, None, detail)
    return tuple(swapped)


def _tally(figures: Iterable[Counters]) -> tuple[list[Breach], int]:
    """What has more since the reset than ever, and how many figures have less."""
    breaches: list[Breach] = []
    kept = 0
    for each in figures:
        ever, since_reset = each.count_ever, each.count_since_reset
        if ever is not None and since_reset is not None:
            if ever > since_reset:
                kept += 1
            elif since_reset > ever:
                breaches.append(Breach(each, "count", ever))
        ever, since_reset = each.value_ever_minor, each.value_since_reset_minor
        if ever is not None and since_reset is not None:
            if ever > since_reset:
                kept += 1
            elif since_reset > ever:
                breaches.append(Breach(each, "value", ever))
    return breaches, kept


def _tally_amounts(figures: Iterable[Amounts]) -> tuple[list[Breach], int]:
    breaches: list[Breach] = []
    kept = 0
    for each in figures:
        ever, since_reset = each.ever_minor, each.since_reset_minor
        if ever is None or since_reset is None:
            continue
        if since_reset > ever:
            breaches.append(Breach(each, "value", ever))
        elif ever > since_reset:
            kept += 1
    return breaches, kept


def _began_again(
    segment: str, breach: Breach, selections: Sequence[Selection], totals: Totals
) -> bool:
    """Whether a sum proves that a counter has passed its last digit.

    CA305 by its parts; VA1 by its selections or payments, which pass theirs later; PA2 by its
    payment lines; the payments (CA2, DA2, DB2) by what they leave unexplained of all vends. The
    others have nothing beside them that would tell, so theirs stays a warning.
    """
    if isinstance(breach.figure, Amounts):
        cash_in = totals.cash_in
        parts = (cash_in.to_box, cash_in.to_tubes, cash_in.bills)
        found = sum(part.ever_minor or 0 for part in parts)
        return breach.figure is cash_in.total and _whole_turns(
            found - breach.ever, _CASH_IN_MODULUS
        )

    def ever(counters: Counters) -> int:
        count = breach.measure == "count"
        return (counters.count_ever if count else counters.value_ever_minor) or 0

    by_selection = sum(ever(selection.paid) for selection in selections)
    payments = (
        totals.cash_sales,
        totals.cashless_1.sales,
        totals.cashless_2.sales,
        totals.value_tokens,
        totals.vend_tokens,
    )
    by_payment = sum(map(ever, payments))
    lacking: list[int] = []
    if segment == "VA1":
        lacking = [by_selection - breach.ever, by_payment - breach.ever]
    elif segment in ("CA2", "DA2", "DB2"):
        lacking = [ever(totals.paid) - by_payment, by_selection - by_payment]
    elif segment == "PA2":
        lacking = [
            sum(ever(line.paid) for line in selection.payment_lines) - breach.ever
            for selection in selections
            if selection.paid is breach.figure
        ]
    return any(_whole_turns(amount, _MODULI[segment, breach.measure]) for amount in lacking)


def _whole_turns(lacking: int, width: int) -> bool:
    return lacking > 0 and lacking % width == 0
