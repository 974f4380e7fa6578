"""What machines report themselves: active events, cabinets that are warm, power lost."""

from collections import Counter, defaultdict
from datetime import datetime, timedelta
from typing import Final

import numpy as np

from fleet.machines.models import Placement
from fleet.sales.models import EventMeaning, EventOccurrence
from fleet.sales.queries.events import EventSaid, active_events
from service.compute.watch import power, warm
from service.compute.watch.suspicion import Kind, Suspicion, strength_over
from service.upkeep.models import Reading

from ..known import Known
from ..seen import Seen

#: What an active event weighs beside chances, by how urgent it is. Our own choice.
STRENGTH: Final = {EventMeaning.Urgency.NOW.value: 4.0, EventMeaning.Urgency.SOON.value: 2.5}
#: Jobs that the watch leaves to those who fill and collect.
OTHERS_WORK: Final = frozenset({EventMeaning.Job.FILL, EventMeaning.Job.NONE})
#: Days over which readings and losses of power are looked at.
DAYS: Final = 7
#: Readings by hand are few: what lies between two warm ones of a week is taken as warm.
MOST_GAP_MINUTES: Final = DAYS * 1440.0
POWER_CUT: Final = "OCF"
"""The event code of the audit standard for a cut of power."""


def events(known: Known) -> list[Seen]:
    """Active events that are urgent, and warm cabinets. Three queries.

    An event of the cooling is a warm cabinet; so is what somebody read off the thermometer. A
    machine has one finding of it, the stronger.
    """
    found: list[Seen] = []
    warmest: dict[int, Seen] = {}
    for said in active_events(known.machines):
        if said.meaning.urgency not in STRENGTH or said.meaning.job in OTHERS_WORK:
            continue
        told_at = said.event.last_read.taken_at
        if told_at is not None and not known.after_mending(said.event.machine_id, told_at):
            continue  # no read has told of it since somebody worked on it
        seen = _event(said)
        if seen.kind == Kind.EVENT.value:
            found.append(seen)
        else:
            _keep_stronger(warmest, seen)
    for seen in _readings(known):
        _keep_stronger(warmest, seen)
    return [*found, *warmest.values()]


def _keep_stronger(kept: dict[int, Seen], seen: Seen) -> None:
    if seen.machine not in kept or kept[seen.machine].strength < seen.strength:
        kept[seen.machine] = seen


def _event(said: EventSaid) -> Seen:
    event, meaning = said.event, said.meaning
    is_warm = meaning.job == EventMeaning.Job.COOLING
    since = event.active_since.taken_at if event.active_since else None
    last = event.last_read.taken_at
    words = f"The machine reports: {said.said()}"
    if since is not None:
        words += f", at every read since {since:%Y-%m-%d}"
    return Seen(
        machine=event.machine_id,
        kind=(Kind.WARM if is_warm else Kind.EVENT).value,
        key="" if is_warm else event.code[:40],
        strength=STRENGTH[meaning.urgency],
        strength_said=f"reported by the machine, {meaning.urgency}",
        said=f"{words}."[:300],
        since=since,
        numbers={
            "code": event.code,
            "base": event.base,
            "urgency": meaning.urgency,
            "count_ever": event.count_ever,
            "total_minutes": event.total_minutes,
            "last_read_at": last.isoformat() if last else None,
        },
    )


def _readings(known: Known) -> list[Seen]:
    """Cabinets of which the readings of the last week are warmer than the limit. One query."""
    since = known.now - timedelta(days=DAYS)
    rows: dict[int, list[tuple[datetime, float]]] = defaultdict(list)
    for machine, at, value in (
        Reading.objects.filter(
            machine__in=known.machines,
            what=Reading.What.CABINET_C,
            taken_at__gt=since,
            taken_at__lte=known.now,
        )
        .exclude(machine__kind__energy_class="")
        .order_by("machine", "taken_at", "pk")
        .values_list("machine", "taken_at", "value")
    ):
        if known.after_mending(machine, at):
            rows[machine].append((at, float(value)))
    found = []
    for machine, readings in rows.items():
        suspicion = _warm(known, since, readings)
        if suspicion is None:
            continue
        found.append(
            Seen.of(
                suspicion,
                machine,
                since=_warm_since(known, readings),
                chart={
                    "kind": "temperature",
                    "at": [round(known.number(at), 4) for at, _ in readings],
                    "celsius": [value for _, value in readings],
                    "limit_c": float(known.limits.warm_limit_c),
                },
            )
        )
    return found


def _warm(
    known: Known, since: datetime, readings: list[tuple[datetime, float]]
) -> Suspicion | None:
    limit = float(known.limits.warm_limit_c)
    judged = warm.judge(
        [(at - since).total_seconds() / 60 for at, _ in readings],
        [value for _, value in readings],
        limit_c=limit,
        tolerated_minutes=max(float(known.limits.warm_minutes), 1.0),
        most_gap_minutes=MOST_GAP_MINUTES,
    )
    last = readings[-1][1]
    if last <= limit:
        return None  # cold again
    if judged.found:
        return judged.suspicion()
    # One warm reading alone: nobody knows for how long, but somebody stood there.
    return Suspicion(
        kind=Kind.WARM,
        p_value=None,
        strength=strength_over(last, limit) if limit > 0 else 1.0,
        said=f"Read at {last:.1f} °C, where {limit:g} °C is the limit; no other reading since.",
        numbers={"now_c": last, "limit_c": limit, "still_warm": True, "readings": len(readings)},
    )


def _warm_since(known: Known, readings: list[tuple[datetime, float]]) -> datetime:
    """The first of the warm readings that no cold one follows."""
    since = readings[-1][0]
    for at, value in reversed(readings):
        if value <= float(known.limits.warm_limit_c):
            break
        since = at
    return since


def power_losses(known: Known) -> list[Seen]:
    """Machines that lost their power again and again in the last week. Two queries.

    By the moments that machines tell of; those of machines beside them say whose trouble it is.
    """
    since = (known.now - timedelta(days=DAYS)).astimezone(known.zone).replace(tzinfo=None)
    until = known.now.astimezone(known.zone).replace(tzinfo=None)
    lost: Counter[int] = Counter()
    for machine, at in (
        EventOccurrence.objects.filter(
            machine__in=known.machines,
            base=POWER_CUT,
            happened_at__gt=since,
            happened_at__lte=until,
        )
        .order_by()
        .values_list("machine", "happened_at")
    ):
        if at is not None and known.after_mending(machine, at.replace(tzinfo=known.zone)):
            lost[machine] += 1
    if not lost:
        return []
    # A part of the fleet holds whole sites as far as it can; what stands in another tells nothing.
    site_of = dict(
        Placement.objects.filter(machine__in=known.machines, ends_at__isnull=True)
        .order_by()
        .values_list("machine", "site")
    )
    beside: dict[int, list[int]] = defaultdict(list)
    for machine, site in site_of.items():
        beside[site].append(machine)
    machines = sorted(lost)
    others = [
        [one for one in beside.get(site_of.get(machine, 0), []) if one != machine]
        for machine in machines
    ]
    judged = power.judge(
        power.PowerLosses.of(
            losses=[lost[machine] for machine in machines],
            days=[DAYS] * len(machines),
            site_losses=[sum(lost[one] for one in those) for those in others],
            site_machines=[len(those) for those in others],
        ),
        least=known.limits.power_losses,
        # Fewer than the limit are nobody's business, and so many are never left to chance.
        level=1.0,
    )
    return [
        Seen.of(judged.suspicion(index), machines[index], since=known.now - timedelta(days=DAYS))
        for index in np.flatnonzero(judged.found).tolist()
    ]
