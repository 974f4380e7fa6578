"""What visits teach: how long each machine takes, and how fast the country around a depot is."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import datetime, timedelta
from decimal import Decimal
from itertools import pairwise
from statistics import median

from django.db import transaction

from fleet.machines.models import Placement, Site
from people import audit, rows
from people.models import Person
from service.compute.routing.travel import LoggedLeg, learned_multiplier

from ..models import Depot, RunAssumptions, ServiceTime, Visit
from ..ways import unlearned_matrix

LOOKED_BACK = timedelta(days=180)
LAST_VISITS = 12
LONGEST = timedelta(hours=4)
"""A visit or a leg longer than this was interrupted, or its end was told late."""
SHORTEST = timedelta(minutes=1)


@transaction.atomic
def learn_service_times(*, now: datetime) -> int:
    """The median of each machine's last visits; how many machines that is of."""
    minutes: dict[int, list[float]] = defaultdict(list)
    visits = Visit.objects.filter(
        arrival_told=True, left_at__isnull=False, arrived_at__gte=now - LOOKED_BACK
    ).order_by("machine", "-arrived_at")
    for machine, arrived, left in visits.values_list("machine", "arrived_at", "left_at"):
        took = (left or arrived) - arrived
        if SHORTEST <= took <= LONGEST and len(minutes[machine]) < LAST_VISITS:
            minutes[machine].append(took.total_seconds() / 60)
    learned = [
        ServiceTime(
            machine_id=machine,
            visits=len(took),
            minutes_median=Decimal(f"{median(took):.1f}"),
            learned_at=now,
        )
        for machine, took in sorted(minutes.items())
        if took
    ]
    ServiceTime.objects.bulk_create(
        learned,
        update_conflicts=True,
        unique_fields=["machine"],
        update_fields=["visits", "minutes_median", "learned_at"],
    )
    return len(learned)


@transaction.atomic
def learn_travel(*, now: datetime, actor: Person | None = None) -> list[Depot]:
    """Each depot's multiplier from the legs between visits that its runs logged."""
    assumed = RunAssumptions.the()
    changed = []
    for depot in Depot.objects.filter(active=True).select_related("site").order_by("pk"):
        legs = _legs(depot, assumed, now)
        found = learned_multiplier(legs)
        before = audit.values(depot)
        value = Decimal(str(round(found.value, 3)))
        if (depot.travel_multiplier, depot.travel_legs) == (value, found.legs):
            continue
        rows.put(
            depot,
            {"travel_multiplier": value, "travel_legs": found.legs, "travel_learned_at": now},
            actor=actor,
            verb="learn travel",
            now=now,
        )
        if audit.values(depot) != before:
            changed.append(depot)
    return changed


def _legs(depot: Depot, assumed: RunAssumptions, now: datetime) -> list[LoggedLeg]:
    visits = list(
        Visit.objects.filter(
            run__depot=depot,
            arrival_told=True,
            left_at__isnull=False,
            arrived_at__gte=now - LOOKED_BACK,
        ).order_by("run", "arrived_at", "pk")
    )
    stood = _stood(visits)
    sites = {site.pk: site for site in stood.values()}
    order = sorted(sites)
    at = {key: index for index, key in enumerate(order)}
    predicted = unlearned_matrix([sites[key] for key in order], assumed=assumed).seconds
    legs = []
    for one, other in pairwise(visits):
        here, there = stood.get(one.pk), stood.get(other.pk)
        if one.run_id != other.run_id or one.left_at is None or here is None or there is None:
            continue
        took = other.arrived_at - one.left_at
        if here.pk != there.pk and timedelta(0) < took <= LONGEST:
            expected = predicted[at[here.pk]][at[there.pk]]
            legs.append(LoggedLeg(expected, round(took.total_seconds())))
    return legs


def _stood(visits: Sequence[Visit]) -> dict[int, Site]:
    """Where the machine of each visit stood then, if that has coordinates."""
    placed: dict[int, list[Placement]] = defaultdict(list)
    rows = Placement.objects.filter(
        machine__in={visit.machine_id for visit in visits}, site__latitude__isnull=False
    ).select_related("site")
    for one in rows.order_by("pk"):
        placed[one.machine_id].append(one)
    return {
        visit.pk: one.site
        for visit in visits
        for one in placed[visit.machine_id]
        if one.starts_at <= visit.arrived_at
        and (one.ends_at is None or visit.arrived_at < one.ends_at)
    }
