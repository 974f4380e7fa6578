"""The latest settlements of cards against sales, for pages that only say whether they agree."""

from datetime import timedelta
from typing import Final

from django.db.models import Max

from ..models import SettlementLine
from .cards import Matched, matched

LATEST_DAYS: Final = 30


def latest_settled() -> Matched | None:
    """The last days that settlements tell of, held against sales; None where there are none.

    Later days are left out: what was sold for cards and is not settled yet is no mismatch.
    """
    last = SettlementLine.objects.aggregate(last=Max("day"))["last"]
    if last is None:
        return None
    return matched(last - timedelta(days=LATEST_DAYS - 1), last + timedelta(days=1))
