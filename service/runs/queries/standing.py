"""How runs stand: a short word for their state and the order and state of their stops."""

import hashlib
from collections.abc import Iterable

from ..models import Run, Stop


def standing_of(runs: Iterable[int]) -> str:
    """A digest of runs, by key, as they stand: 32 hex digits.

    Whoever decided by a page sends it back; another digest means that somebody changed the runs.
    """
    keys = sorted(set(runs))
    rows = Run.objects.filter(pk__in=keys).order_by("pk").values_list("pk", "state", "agreed")
    stops = (
        Stop.objects.filter(run__in=keys)
        .order_by("run", "sequence", "pk")
        .values_list("run", "pk", "sequence", "state", "locked")
    )
    return hashlib.sha256(repr([list(rows), list(stops)]).encode()).hexdigest()[:32]
