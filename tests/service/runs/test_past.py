"""A day that was driven without the service is written down whole, or not at all."""

from datetime import date, datetime, timedelta
from typing import Any

import pytest

from fleet.sales.models import Bag
from people.errors import Unacceptable
from people.models import AuditEntry
from service.runs.actions import past
from service.runs.models import Run, Visit
from tests.service.runs.roadwork import RoadWork, clock

pytestmark = pytest.mark.django_db

YESTERDAY = date(2026, 3, 1)


def then(hour: int, minute: int = 0) -> datetime:
    """A moment of the day before."""
    return clock(hour, minute) - timedelta(days=1)


def write(work: RoadWork, **changes: Any) -> Run:
    first, second, *_ = work.machines
    given: dict[str, Any] = {
        "driver": work.profile,
        "day": YESTERDAY,
        "started_at": then(7),
        "ended_at": then(12),
        "visits": [
            past.PastVisit(first, then(8), then(8, 25), "0001"),
            past.PastVisit(second, then(9), then(9, 40)),
        ],
        "actor": work.owner,
        "now": clock(6),
    }
    return past.write_down(**(given | changes))


def nothing_written() -> bool:
    return not (Run.objects.exists() or Visit.objects.exists() or Bag.objects.exists())


def test_the_run_has_ended_with_its_visits_and_bags(work: RoadWork) -> None:
    run = write(work)
    assert (run.state, run.agreed, run.plan, run.driver) == ("ended", True, None, work.driver)
    assert run.stops.count() == 0
    assert [(v.machine, v.arrived_at, v.left_at) for v in run.visits.order_by("arrived_at")] == [
        (work.machines[0], then(8), then(8, 25)),
        (work.machines[1], then(9), then(9, 40)),
    ]
    bag = Bag.objects.get()
    assert (bag.seal_number, bag.machine, bag.sealed_by) == ("0001", work.machines[0], work.driver)
    told = AuditEntry.objects.filter(actor=work.owner)
    assert told.filter(verb="write down run", object_id=run.pk).count() == 1
    assert told.filter(verb="write down visit").count() == 2
    assert told.filter(verb="seal bag", object_id=bag.pk).count() == 1


def test_a_visit_outside_the_day_is_refused(work: RoadWork) -> None:
    late = past.PastVisit(work.machines[0], then(11, 50), then(12, 10))
    with pytest.raises(Unacceptable, match="not within the day") as refused:
        write(work, visits=[late])
    assert "visits.0.arrived_at" in refused.value.fields
    assert nothing_written()


def test_a_day_that_is_still_to_come_is_refused(work: RoadWork) -> None:
    with pytest.raises(Unacceptable, match="not in the future"):
        write(work, now=then(11))
    assert nothing_written()


def test_a_driver_without_a_vehicle_is_refused(work: RoadWork) -> None:
    work.profile.vehicle = None
    with pytest.raises(Unacceptable, match="no vehicle"):
        write(work)


def test_a_day_is_written_down_once(work: RoadWork) -> None:
    write(work)
    with pytest.raises(past.UnableToWriteDown) as refused:
        write(work, visits=[])
    assert refused.value.code == "run_exists"


def test_a_seal_is_on_one_bag(work: RoadWork) -> None:
    write(work)
    again = past.PastVisit(work.machines[2], then(10) - timedelta(days=1), then(10), "0001")
    with pytest.raises(past.UnableToWriteDown) as refused:
        write(
            work,
            day=YESTERDAY - timedelta(days=1),
            started_at=then(7) - timedelta(days=1),
            visits=[again],
        )
    assert refused.value.code == "seal_used"
    assert Run.objects.count() == 1
