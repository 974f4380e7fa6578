"""What a machine's bag should hold: cash to the box between two bags, by the meter or by sales.

Cash that was taken in goes to the box, to the stacker or into the tubes, and change comes out of
the tubes (common practice, no published source). So a bag holds what the meter says went to the box
and the stacker. A meter that does not say so leaves the cash sales, less what the tubes kept, which
is then known only as far as somebody filled or emptied them by hand. Amounts are Decimal in units
of the currency, moments carry their offset.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import ROUND_HALF_EVEN, Decimal
from enum import StrEnum
from itertools import pairwise
from typing import Final

NEAR: Final = timedelta(hours=2)
"""A read so near to a seal is of the same visit; assumed."""
PAYMENT: Final = Decimal("2.00")
"""Cash that one customer leaves behind; assumed."""
UNEVEN: Final = Decimal("0.15")
"""How far the share of a day's cash that came by some hour is off the share of its time, at the
most, as a standard deviation: people buy by day. Assumed."""


class Basis(StrEnum):
    """What an expected amount stands on; empty where there is none."""

    METER = "meter"
    SALES = "sales"
    NONE = ""


@dataclass(frozen=True, slots=True)
class Between:
    """What two reads in a row tell of cash; None where the machine does not say.

    boxed  to the cash box and the stacker
    sold   cash sales
    """

    starts: datetime
    ends: datetime
    boxed: Decimal | None
    sold: Decimal | None


@dataclass(frozen=True, slots=True)
class Expected:
    """What a bag should hold. `since` and `until` are the reads it is reckoned between.

    `exact` says that a read was taken at either visit; otherwise an interval that reaches over a
    visit is shared by time, which may be off by the standard deviation `spread`.
    """

    amount: Decimal | None
    basis: Basis
    since: datetime | None
    until: datetime | None
    exact: bool
    said: str
    spread: Decimal = Decimal(0)


def expected(
    told: Sequence[Between],
    since: datetime | None,
    until: datetime,
    *,
    put_in_tubes: Decimal = Decimal(0),
    places: int = 2,
    near: timedelta = NEAR,
) -> Expected:
    """The cash of a bag sealed at `until`, where the bag before it was sealed at `since`.

    `told` are the intervals of one machine in order of time. `put_in_tubes` is change put into the
    tubes by hand less change taken out; only sales need it, for by conservation box = sales + put
    in - growth of the tubes, and tubes filled at each visit to the same level have grown by nothing
    between visits. Rounded to `places` half to even.
    """
    if since is None:
        return _unknown("no bag of this machine was sealed before; there is nothing to begin from")
    reads = sorted({moment for one in told for moment in (one.starts, one.ends)})
    begin, at_first = _at_read(since, reads, near)
    end, at_last = _at_read(until, reads, near)
    if begin >= end:
        return _unknown("the bag before was sealed at the same visit; hold both together")
    within = [one for one in told if one.starts < end and one.ends > begin]
    if not within:
        return _unknown("no reads tell of the time since the bag before")
    if within[0].starts > begin + near or within[-1].ends < end - near:
        return _unknown("reads tell of a part of the time since the bag before only")
    for before, one in pairwise(within):
        if one.starts > before.ends:
            return _unknown("between two reads since the bag before nothing is told")
    exact = at_first and at_last
    shared = (
        "" if exact else "; no read at both visits, so the reads around them are shared by time"
    )
    boxed = _sum(within, begin, end, lambda one: one.boxed)
    if boxed is not None:
        said = "cash to the box and the stacker by the meter" + shared
        spread = _spread(within, begin, end, lambda one: one.boxed, places)
        return Expected(_round(boxed, places), Basis.METER, begin, end, exact, said, spread)
    sold = _sum(within, begin, end, lambda one: one.sold)
    if sold is None:
        return _unknown("the machine's reads tell neither of the cash box nor of cash sales")
    said = "cash sales, for the meter does not tell of the cash box"
    if put_in_tubes:
        way = "put into" if put_in_tubes > 0 else "taken out of"
        said += f"; {abs(put_in_tubes):.{places}f} of change {way} the tubes is allowed for"
    spread = _spread(within, begin, end, lambda one: one.sold, places)
    amount = _round(sold + put_in_tubes, places)
    return Expected(amount, Basis.SALES, begin, end, exact, said + shared, spread)


def _sum(
    within: Sequence[Between],
    begin: datetime,
    end: datetime,
    figure: Callable[[Between], Decimal | None],
) -> Decimal | None:
    total = Decimal(0)
    for one in within:
        amount = figure(one)
        if amount is None:
            return None
        total += amount * _part(one, begin, end)
    return total


def _part(one: Between, begin: datetime, end: datetime) -> Decimal:
    """How much of an interval's time lies between two moments."""
    whole = _seconds(one.ends - one.starts)
    part = _seconds(min(one.ends, end) - max(one.starts, begin))
    return part / whole if whole else Decimal(1)


def _spread(
    within: Sequence[Between],
    begin: datetime,
    end: datetime,
    figure: Callable[[Between], Decimal | None],
    places: int,
) -> Decimal:
    """Standard deviation of what sharing by time may be off by.

    Of n payments the number before a moment is binomial: its variance n p (1 - p), each of the size
    PAYMENT. The share p itself is off by what UNEVEN says, the most in the middle.
    """
    variance = Decimal(0)
    for one in within:
        part = _part(one, begin, end)
        amount = abs(figure(one) or Decimal(0))
        middle = part * (1 - part)
        variance += amount * PAYMENT * middle + (4 * middle * UNEVEN * amount) ** 2
    return _round(variance.sqrt(), places)


def _seconds(span: timedelta) -> Decimal:
    return Decimal(span // timedelta(microseconds=1)) / 1_000_000


def _at_read(moment: datetime, reads: Sequence[datetime], near: timedelta) -> tuple[datetime, bool]:
    """The read of the same visit and True, or the moment itself and False."""
    at = bisect_left(reads, moment)
    close = [read for read in reads[max(at - 1, 0) : at + 1] if abs(read - moment) <= near]
    if not close:
        return moment, False
    return min(close, key=lambda read: abs(read - moment)), True


def _round(amount: Decimal, places: int) -> Decimal:
    return amount.quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_EVEN)


def _unknown(said: str) -> Expected:
    return Expected(None, Basis.NONE, None, None, exact=False, said=said)
