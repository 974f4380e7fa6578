"""When somebody comes again: by an agreed run, else by the rhythm of visits."""

from datetime import UTC, date, datetime, timedelta

import pytest

from fleet.demand.models import DemandRules
from people.models import Person
from service.runs.models import Run, Stop
from service.runs.queries.ahead import visits_ahead
from tests.service.runs.dispatchwork import dispatchwork
from tests.world import World

pytestmark = pytest.mark.django_db
DAY = date(2026, 3, 3)
NOW = datetime(2026, 3, 2, 14, tzinfo=UTC)


def test_an_agreed_run_goes_before_the_rhythm(
    world: World, dispatcher: Person, driver: Person
) -> None:
    work = dispatchwork(world, dispatcher, driver, day=DAY, now=NOW, machines=4, each=2)
    on_run, elsewhere = work.machines[0], work.machines[3]
    Stop.objects.filter(machine=elsewhere).delete()
    found = visits_ahead([on_run.pk, elsewhere.pk], now=NOW)
    assert found[on_run.pk].on == DAY
    assert found[on_run.pk].stop is not None
    assert (found[elsewhere.pk].on, found[elsewhere.pk].stop) == (
        NOW.date() + timedelta(days=DemandRules.the().usual_gap_days),
        None,
    )
    # A run that nobody drove tells of no visit once its day is over.
    later = visits_ahead([on_run.pk], now=NOW + timedelta(days=2))[on_run.pk]
    assert later.stop is None
    assert later.on > DAY
    Run.objects.update(agreed=False)
    assert visits_ahead([on_run.pk], now=NOW)[on_run.pk].stop is None


def test_of_no_machine_nothing_is_asked() -> None:
    assert visits_ahead([], now=NOW) == {}
