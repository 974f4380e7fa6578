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


def desk_standing(runs: Iterable[int]) -> dict[int, str]:
    """For each run, by key, a short word for how the desk has arranged it: 16 hex digits.

    What the road does to a run (arrived, left, skipped) does not change it: a ticket may still be
    put on it as was decided, behind what is done by then.
    """
    keys = sorted(set(runs))
    found: dict[int, list[object]] = {key: [] for key in keys}
    rows = Run.objects.filter(pk__in=keys).order_by("pk")
    for key, agreed, ended in rows.values_list("pk", "agreed", "ended_at"):
        found[key] += [agreed, ended is not None]
    stops = Stop.objects.filter(run__in=keys).order_by("run", "sequence", "pk")
    for run, *row in stops.values_list("run", "pk", "sequence", "locked"):
        found[run].append(row)
    return {
        key: hashlib.sha256(repr(told).encode()).hexdigest()[:16] for key, told in found.items()
    }
