"""Which of all that a look saw is strong enough to be a finding."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

import numpy as np
from django.db.models import Count, Max, Q

from service.compute.watch.fdr import q_values

from .models import Finding, Look, WatchLimits
from .seen import Seen

Place = tuple[int, int | None, str, str]
#: Dismissals that ask for stronger evidence are forgotten after so long.
LEARNED_FOR: Final = timedelta(days=365)
#: Orders of magnitude that one more dismissal asks for.
A_DISMISSAL: Final = 1.0
LIVE: Final = (Finding.State.OPEN, Finding.State.TICKETED)
#: Kinds that no look sees; `actions/telling.py` opens and ends them.
TOLD_BY_OTHERS: Final = (Finding.Kind.FOOD,)


@dataclass(frozen=True)
class Learned:
    """What dismissals taught of one place and kind."""

    times: int
    quiet_until: datetime | None

    @property
    def bar(self) -> float:
        """Orders of magnitude beyond the usual limit that the next finding must have."""
        return self.times * A_DISMISSAL


@dataclass(frozen=True)
class Sifted:
    """`stand` are findings, old and new, `live` those that were there before by place.

    `mark`: silences with a smaller chance were taken for wrong. `machines`: those looked at.
    `hushed`: how many were held back by what dismissals taught.
    """

    stand: tuple[Seen, ...]
    live: dict[Place, Finding]
    machines: tuple[int, ...]
    mark: float
    hushed: int


def sift(
    seen: Sequence[Seen],
    *,
    judged: int,
    machines: Sequence[int],
    look: Look,
    limits: WatchLimits,
) -> Sifted:
    """Hold silences against the fleet, and all against what dismissals taught. Three queries.

    What is open already stands as long as it is seen at all: at the very limit it would come and
    go from night to night.
    """
    live = {
        (one.machine_id, one.column_id, one.kind, one.key): one
        for one in Finding.objects.filter(machine__in=machines, state__in=LIVE)
        # What another part of the service told of is that part's to end.
        .exclude(kind__in=TOLD_BY_OTHERS)
        .order_by("pk")
    }
    mark = _mark(seen, judged, look, limits)
    taught = learned(machines, now=look.started_at)
    stand: list[Seen] = []
    hushed = 0
    for one in seen:
        if one.place in live:
            stand.append(one)
            continue
        if one.kind == Finding.Kind.SILENT and (one.p_value is None or one.p_value > mark):
            continue
        known = taught.get(one.place)
        if known is not None and _held_back(one, known, mark, limits, look.started_at):
            hushed += 1
            continue
        stand.append(one)
    return Sifted(tuple(stand), live, tuple(machines), mark, hushed)


def learned(machines: Sequence[int], *, now: datetime) -> dict[Place, Learned]:
    """What dismissals of the last year taught, by place. One query."""
    rows = (
        Finding.objects.filter(
            machine__in=machines,
            state=Finding.State.DISMISSED,
            dismissed_at__gt=now - LEARNED_FOR,
        )
        .order_by()
        .values_list("machine", "column", "kind", "key")
        .annotate(times=Count("pk", filter=Q(teaches=True)), until=Max("quiet_until"))
    )
    return {
        (machine, column, kind, key): Learned(times, until)
        for machine, column, kind, key, times, until in rows
    }


def least_strength(kind: str, mark: float, limits: WatchLimits) -> float:
    """The strength from which on a finding of a kind is one, where nothing was dismissed."""
    chances = {
        Finding.Kind.SILENT.value: mark,
        Finding.Kind.TWO_FOR_ONE.value: float(limits.missing_chance),
        Finding.Kind.MISSING.value: float(limits.missing_chance),
        Finding.Kind.CASH.value: float(limits.cash_chance),
    }
    chance = chances.get(kind)
    return -math.log10(chance) if chance else 0.0


def _held_back(one: Seen, known: Learned, mark: float, limits: WatchLimits, now: datetime) -> bool:
    if known.quiet_until is not None and known.quiet_until > now:
        return True
    return one.strength < least_strength(one.kind, mark, limits) + known.bar


def _mark(seen: Sequence[Seen], judged: int, look: Look, limits: WatchLimits) -> float:
    """The largest chance that is found wrong, so that few of those found are false.

    Over the whole fleet by Benjamini and Hochberg. A look at some machines holds them against the
    mark of the last whole look; the first of all against the strictest: one among all.
    """
    q = float(limits.false_share)
    if look.over == Look.Over.NEWS:
        last = (
            Look.objects.filter(mark__isnull=False, state=Look.State.DONE)
            .exclude(over=Look.Over.NEWS)
            .order_by("-pk")
            .first()
        )
        if last is not None and last.mark is not None:
            return last.mark
    chances = [one.p_value for one in seen if one.kind == Finding.Kind.SILENT]
    given = np.ones(max(judged, len(chances), 1))
    given[: len(chances)] = chances
    found = given[q_values(given) <= q]
    # Where nothing was found, the first that will be must be so unlikely among so many.
    return float(found.max()) if len(found) else q / len(given)
