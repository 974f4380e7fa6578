"""Columns that sold nothing where they should have, by audit reads.

A silence begins where the last interval that sold something ends, and lasts to the last read. A
column that stood empty is not silent: but a machine's word that it is sold out counts only while
nobody found products in it. An interval in which the column was set up or mended tells of both
before and after, and so of neither.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from django.db import connection
from numpy.typing import NDArray

from fleet.sales.stock import ColumnStock, estimate
from service.compute.watch.silent import Intervals, SilenceJudged, judge, since_last_sale

from ..known import Known
from ..seen import Seen

#: What a column holds at the least, to be told from an empty one: a count may be off by one.
LEAST_HELD: Final = 2
#: Two moments closer than this, in days, are one.
A_READ: Final = 2 / 24
BEFORE_DAYS: Final = 28
#: Days of a chart.
SHOWN_DAYS: Final = 42


@dataclass(frozen=True)
class SilencesSeen:
    """`judged` columns were held against chance; the others hold nothing or are not read.

    `seen` are those whose chance is small enough that any look could find them.
    """

    judged: int
    seen: tuple[Seen, ...]


def silences(known: Known) -> SilencesSeen:
    """Every column's silence, and the suspicious ones. Five queries more where there are any."""
    sold = known.sold
    if not len(sold.row):
        return SilencesSeen(0, ())
    silent = _silent(known)
    first = _judged(known, np.zeros(len(sold.row), np.bool_))
    read = np.bincount(sold.row, minlength=len(known.columns)) > 0
    limit = float(known.limits.false_share)
    suspected = np.flatnonzero(read & (first.p_value <= limit))
    if not len(suspected):
        return SilencesSeen(int(read.sum()), ())
    held = estimate(known.columns.ids[suspected].tolist(), known.now)
    empty = _empty(known, silent, suspected, held)
    judged = _judged(known, empty)
    found = [
        place
        for place in suspected.tolist()
        if judged.p_value[place] <= limit and _holds_something(held, known, place)
    ]
    return SilencesSeen(
        int(read.sum()),
        tuple(_seen(known, judged, place, silent & ~empty, held) for place in found),
    )


def _silent(known: Known) -> NDArray[np.bool_]:
    """[intervals] which lie after their column's last sale, and after it was set up or mended."""
    sold = known.sold
    last = np.full(len(known.columns), -np.inf)
    some = sold.units > 0
    np.maximum.at(last, sold.row[some], sold.ends[some])
    found: NDArray[np.bool_] = (sold.ends > last[sold.row]) & _tells(known)
    return found


def _tells(known: Known) -> NDArray[np.bool_]:
    """[intervals] which begin after their column was last set up or mended."""
    found: NDArray[np.bool_] = known.sold.starts >= known.began[known.sold.row] - A_READ
    return found


def _judged(known: Known, empty: NDArray[np.bool_]) -> SilenceJudged:
    """Every silence against chance; what is `empty` or tells nothing is left out of it.

    Where nothing sold in all the time looked at, the rate is what demand was last fitted to.
    """
    sold, demand = known.sold, known.demand
    given = Intervals.of(
        column=sold.row,
        ends=sold.ends,
        units=sold.units,
        exposure=known.exposure,
        beside=known.of_machine - sold.units,
        machine=known.columns.machines,
        empty=empty | (~_tells(known) & (sold.units == 0)),
        dispersion=np.maximum(demand.dispersion, 1.0),
    )
    silence = since_last_sale(given)
    never = ~np.isfinite(given.last_sale)
    return judge(
        replace(
            silence,
            shape=np.where(never, demand.shape, silence.shape),
            exposure_days=np.where(never, demand.exposure_days, silence.exposure_days),
        ),
        float(known.limits.false_share),
    )


def _empty(
    known: Known,
    silent: NDArray[np.bool_],
    suspected: NDArray[np.int64],
    held: Mapping[int, ColumnStock],
) -> NDArray[np.bool_]:
    """[intervals] in which a suspected column stood empty in truth.

    The machine says so, and the next count found next to nothing; where nobody counted since, the
    estimate of what it holds decides.
    """
    sold = known.sold
    found = np.zeros(len(sold.row), np.bool_)
    dry = np.flatnonzero(silent & sold.ran_dry & np.isin(sold.row, suspected))
    if not len(dry):
        return found
    counts = _counts(known, np.unique(sold.row[dry]))
    for one in dry.tolist():
        row = int(sold.row[one])
        next_count = next(
            (units for at, units in counts.get(row, ()) if at > sold.starts[one] + 1e-6), None
        )
        if next_count is not None:
            found[one] = next_count < LEAST_HELD
        else:
            stock = held.get(int(known.columns.ids[row]))
            # Never counted, nobody can gainsay the machine.
            found[one] = stock is None or stock.last_count_at is None or stock.low < LEAST_HELD
    return found


def _holds_something(held: Mapping[int, ColumnStock], known: Known, place: int) -> bool:
    """A column that by all that is known is empty now is not silent."""
    stock = held.get(int(known.columns.ids[place]))
    return stock is None or stock.last_count_at is None or stock.expected >= 1


_COUNTS: Final = """
SELECT p.column_id, k.counted_at, sum(l.counted)::int
FROM inventory_stockplace p
JOIN inventory_stockcount k ON k.place_id = p.id AND k.counted_at > %s AND k.counted_at <= %s
JOIN inventory_countline l ON l.count_id = k.id
JOIN machines_setup s ON s.column_id = p.column_id AND s.ends_at IS NULL
                     AND s.product_id = l.product_id
WHERE p.column_id = ANY(%s)
GROUP BY p.column_id, k.id, k.counted_at ORDER BY k.counted_at, k.id
"""


def _counts(known: Known, rows: NDArray[np.int64]) -> dict[int, list[tuple[float, int]]]:
    """Counts of columns by their places, in order of time. One query."""
    columns = known.columns.ids[rows].tolist()
    found: dict[int, list[tuple[float, int]]] = {}
    with connection.cursor() as cursor:
        cursor.execute(_COUNTS, [known.since, known.now, columns])
        for column, at, units in cursor.fetchall():
            found.setdefault(known.place_of(column), []).append((known.number(at), units))
    return found


def _seen(
    known: Known,
    judged: SilenceJudged,
    place: int,
    silent: NDArray[np.bool_],
    held: Mapping[int, ColumnStock],
) -> Seen:
    column, sold = int(known.columns.ids[place]), known.sold
    own = silent & (sold.row == place)
    began = float(sold.starts[own].min())
    # What it used to sell. The last fit knew of the silence, and took some of it for the usual.
    rate = float(judged.silence.shape[place] / judged.silence.exposure_days[place])
    seen = Seen.of(
        judged.suspicion(place),
        int(known.columns.machines[place]),
        column=column,
        product=int(known.columns.products[place]),
        since=known.moment(began),
        chart=expected_and_sold(known, place, rate),
    )
    seen.numbers["silent_days"] = round(float(sold.ends[own].max()) - began, 2)
    seen.numbers["said_sold_out"] = bool(sold.ran_dry[own].any())
    seen.numbers["sold_before_part"] = sold_part(known, place, began, rate)
    stock = held.get(column)
    if stock is not None and stock.last_count_at is not None:
        seen.numbers["held_units"] = round(stock.expected, 1)
        seen.numbers["held_low_units"] = round(stock.low, 1)
    return seen


def sold_part(known: Known, place: int, until: float, rate: float) -> float | None:
    """What a column sold in the four weeks up to a day, as a part of what `rate` units a usual day
    would have been."""
    sold = known.sold
    rows = (sold.row == place) & (sold.ends <= until + A_READ) & (sold.ends > until - BEFORE_DAYS)
    expected = rate * float(known.exposure[rows].sum())
    return round(float(sold.units[rows].sum()) / expected, 3) if expected >= 1 else None


def expected_and_sold(known: Known, place: int, rate: float) -> dict[str, object]:
    """Units expected at `rate` a usual day, and sold, interval by interval: for a small chart."""
    sold = known.sold
    rows = np.flatnonzero(sold.row == place)
    rows = rows[np.argsort(sold.ends[rows])]
    rows = rows[sold.ends[rows] > known.number(known.now) - SHOWN_DAYS]
    return {
        "kind": "expected_and_sold",
        "starts": [round(float(one), 3) for one in sold.starts[rows]],
        "ends": [round(float(one), 3) for one in sold.ends[rows]],
        "expected": [round(float(one) * rate, 2) for one in known.exposure[rows]],
        "sold": [int(one) for one in sold.units[rows]],
        "dry": [bool(one) for one in sold.ran_dry[rows]],
    }
