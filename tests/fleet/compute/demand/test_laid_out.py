"""Days laid out in a grid: copied in runs or added up one by one, the sums are the same."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from fleet.compute.demand import IntervalSales
from fleet.compute.demand.calendar import Calendar
from fleet.compute.demand.history import History

DAYS = 14
AS_OF = 20_014.0


def laid_out(sales: IntervalSales, columns: int) -> History:
    return History.of(sales, Calendar.of(columns), AS_OF, DAYS)


@given(st.integers(0, 2**32 - 1), st.integers(1, 4), st.floats(0, 1), st.integers(1, 2))
def test_what_is_sold_in_a_day_stands_on_that_day(
    seed: int, columns: int, missing: float, a_day: int
) -> None:
    """Days may be missing, come in two parts, run dry, or lie before the history begins."""
    luck = np.random.default_rng(seed)
    rows = [
        (column, AS_OF - DAYS - 5 + day + part / a_day, 1 / a_day)
        for column in range(columns)
        for day in range(DAYS + 5)
        for part in range(a_day)
        if luck.random() >= missing
    ]
    units = luck.integers(0, 5, len(rows))
    dry = luck.random(len(rows)) < 0.2
    sales = IntervalSales.of(
        column=[row[0] for row in rows],
        starts=[row[1] for row in rows],
        ends=[row[1] + row[2] for row in rows],
        units=units,
        ran_dry=dry,
        machine=[0] * columns,
        product=[0] * columns,
    )
    found = laid_out(sales, columns)
    sold, seen = np.zeros(found.sold.shape), np.zeros(found.sold.shape)
    for (column, starts, length), amount, empty in zip(rows, units, dry, strict=True):
        if starts >= found.first_day and not empty:
            sold[column, int(starts) - found.first_day] += amount
            seen[column, int(starts) - found.first_day] += length
    assert found.sold.tolist() == sold.tolist()
    assert found.seen.tolist() == seen.tolist()
