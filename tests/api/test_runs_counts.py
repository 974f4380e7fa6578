"""Lists of runs and the driver's day cost the same number of queries however long they are.

To accept another number, change it here and say why in the commit.
"""

from collections.abc import Callable
from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleet.machines.models import Machine
from people.roles import Role
from service.runs.actions import keeping, plans
from service.runs.models import DayPlan, LoadLine, Run
from tests.callers import Caller
from tests.cast import join
from tests.service.runs.roadwork import DAY, SHIFT, RoadWork, clock, site

QUERIES = {
    "/day-plans": 2,
    "/day-plans/{id}": 6,
    "/days-off": 2,
    "/depots": 2,
    "/drivers": 3,
    "/planned-machines": 2,
    "/road/runs/{id}": 16,
    "/runs": 2,
    "/runs/{id}": 6,
    "/runs/{id}/load": 3,
    "/runs/{id}/stops.geojson": 3,
    "/service-agreements": 2,
    "/stops": 2,
    "/vehicles": 2,
}


def grow(work: RoadWork, start: int, until: int) -> None:
    """So many machines more, on the first run and in a plan; so many drivers with vans and runs."""
    owner, now = work.owner, clock(5)
    kind = work.machines[0].kind
    for number in range(start, until):
        place = site(work.world, f"Quay {number}", number)
        machine = work.world.machine(f"Q-{number}", kind, site=place)
        keeping.save_agreement(changes={"machine": machine, "every_days": 1}, actor=owner, now=now)
        keeping.add_day_off(
            profile=None, date=DAY + timedelta(days=20 + number), why="x", actor=owner, now=now
        )
        vehicle = keeping.save_vehicle(
            changes={"name": f"Truck {number}", "depot": work.depot}, actor=owner, now=now
        )
        profile = keeping.save_driver(
            changes={
                "person": join(f"Driver{number} Quay", Role.DRIVER),
                "depot": work.depot,
                "vehicle": vehicle,
            },
            shifts=SHIFT,
            actor=owner,
            now=now,
        )
        work.run(machine, driver=profile, date=DAY + timedelta(days=14 + number % 5))
    machines = list(Machine.objects.order_by("pk")[: 3 + until])
    Run.objects.filter(date=date(2026, 4, 6)).delete()
    run = work.run(*machines, date=date(2026, 4, 6))
    LoadLine.objects.bulk_create(
        LoadLine(run=run, stop=stop, product=work.cola, basis=LoadLine.Basis.KNOWN, wanted=3)
        for stop in run.stops.all()
    )
    plans.plan_day(date=date(2026, 3, 3), actor=owner, now=clock(17), effort=20)


def counts(caller: Caller) -> dict[str, int]:
    run = Run.objects.get(date=date(2026, 4, 6)).pk
    plan = DayPlan.objects.order_by("-pk")[0].pk
    found = {}
    for name in QUERIES:
        path = name.replace("{id}", str(plan if "plans" in name else run))
        assert caller.get(path).status_code == 200, path
        with CaptureQueriesContext(connection) as queries:
            answer = caller.get(path)
        assert answer.json().get("items", True), f"{path} is empty"
        found[name] = len(queries)
    return found


@pytest.mark.django_db
def test_lists_cost_the_same_however_long(work: RoadWork, caller: Callable[..., Caller]) -> None:
    as_owner = caller(work.owner)
    grow(work, 0, 2)
    small = counts(as_owner)
    grow(work, 2, 6)
    assert counts(as_owner) == small
    assert small == QUERIES
