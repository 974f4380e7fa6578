"""A split of several classes together, shared out to each, so that every line and sum adds up.

A rule reckons with the receipts of a period as one sum (Rule 12A-15.011, F.A.C., and 18 CCR 1574
say so of theirs). Were each class rounded by itself, the lines would not come to what the rule
gives.
"""

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal

from .rounding import share_out
from .split import ZERO, Split


def shared(
    whole: Split,
    receipts: Sequence[Decimal],
    deposits: Sequence[Decimal],
    costs: Sequence[Decimal],
    unit: Decimal,
) -> list[Split]:
    """The parts of a split, one for each share of its receipts, in order.

    `receipts` and `deposits` add up to the whole's; `costs` are what a rule by cost goes by. Each
    figure of the parts, and the tax due to each jurisdiction, adds up to the whole's; the parts of
    one split add up to its receipts. Amounts are multiples of `unit`, costs need not be.
    """
    room = [gross - kept for gross, kept in zip(receipts, deposits, strict=True)]
    by_cost = bool(whole.measured_otherwise)
    weights = list(costs) if by_cost else list(room)
    inside = bool(whole.tax_inside)
    due: list[list[Decimal]] = []
    for part in whole.due:
        taxes = _within(part.tax, weights, room if inside else None, unit)
        if inside:
            room = [left - tax for left, tax in zip(room, taxes, strict=True)]
        due.append(taxes)
    tax = [sum((taxes[n] for taxes in due), ZERO) for n in range(len(receipts))]
    if by_cost:
        taxable = [ZERO] * len(receipts)
        measure = _within(whole.measure, weights, None, unit)
    else:
        taxable = _within(whole.taxable, weights, room, unit)
        measure = taxable
        room = [left - part for left, part in zip(room, taxable, strict=True)]
    said = f"{whole.receipts} in all under this rule; this is its part"
    return [
        Split(
            receipts=receipts[n],
            deposits=deposits[n],
            exempt=ZERO if by_cost else room[n],
            taxable=taxable[n],
            tax_inside=tax[n] if inside else ZERO,
            measured_otherwise=room[n] if by_cost else ZERO,
            measure=measure[n],
            rate=whole.rate,
            tax=tax[n],
            due=tuple(
                replace(part, tax=taxes[n]) for part, taxes in zip(whole.due, due, strict=True)
            ),
            why=(*whole.why, said),
        )
        for n in range(len(receipts))
    ]


def _within(
    whole: Decimal, weights: Sequence[Decimal], room: Sequence[Decimal] | None, unit: Decimal
) -> list[Decimal]:
    """A whole shared out by weights, to nobody more than there is room for."""
    if not whole:
        return [ZERO] * len(weights)
    parts = share_out(whole, weights, unit)
    if room is None:
        return parts
    over = ZERO
    for n, most in enumerate(room):
        if parts[n] > most:
            over += parts[n] - most
            parts[n] = most
    for n in sorted(range(len(parts)), key=lambda n: (parts[n] - room[n], n)):
        more = min(over, room[n] - parts[n])
        parts[n] += more
        over -= more
    return parts
