"""What columns lose by standing empty."""

from collections.abc import Collection
from typing import Final

import numpy as np

from people.models import Business
from service.compute.watch.lost import Emptiness, judge

from ..known import Known
from ..seen import Seen
from .silence import A_READ, expected_and_sold, sold_part

#: Weeks over which losses are told: enough for two visits of a machine that is visited fortnightly.
WEEKS: Final = 4
DAYS_A_WEEK: Final = 7


def losses(known: Known, silent: Collection[int]) -> list[Seen]:
    """Columns that lose more in a week, sold out, than the limit. No query of their own.

    In an interval that ran dry the column stood empty for as long as what was expected beyond what
    it sold would have taken. A column found silent while full (`silent`: keys) did not run dry.
    """
    sold = known.sold
    since = known.number(known.now) - WEEKS * DAYS_A_WEEK
    dry = sold.ran_dry & (sold.ends > since) & (sold.starts >= known.began[sold.row] - A_READ)
    if not dry.any():
        return []
    row = sold.row[dry]
    rate = known.demand.rate
    used = np.divide(sold.units[dry], rate[row], out=np.zeros(len(row)), where=rate[row] > 0)
    empty = np.bincount(
        row, weights=np.maximum(known.exposure[dry] - used, 0), minlength=len(known.columns)
    )
    places = np.flatnonzero((empty > 0) & known.own)
    if not len(places):
        return []
    exponent = Business.the().currency_exponent
    judged = judge(
        Emptiness.of(
            shape=known.demand.shape[places],
            exposure_days=known.demand.exposure_days[places],
            dry_exposure=empty[places],
            weeks=WEEKS,
            margin_minor=known.columns.margin_minor[places],
        ),
        limit_minor=max(float(known.limits.sold_out_loss) * 10**exponent, 1.0),
    )
    found = []
    for index in np.flatnonzero(judged.found).tolist():
        place = int(places[index])
        column = int(known.columns.ids[place])
        if column in silent:
            continue
        seen = Seen.of(
            judged.suspicion(index, exponent),
            int(known.columns.machines[place]),
            column=column,
            product=int(known.columns.products[place]),
            since=known.moment(float(sold.starts[dry][row == place].min())),
            chart=expected_and_sold(known, place, float(rate[place])),
        )
        seen.numbers["sold_before_part"] = sold_part(
            known, place, known.number(known.now), float(rate[place])
        )
        found.append(seen)
    return found
