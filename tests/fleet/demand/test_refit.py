"""Fitting every column: what is written, run twice, raced for, lost and taken again."""

import pytest

from fleet.demand.actions import runs
from fleet.demand.actions.refit import fit_chunk
from fleet.demand.models import ColumnDemand, ColumnNeed, FitRun
from people.models import Person
from tests.fleet.demand.sellers import clock, column, sell_and_read, shop
from tests.world import World

pytestmark = pytest.mark.django_db


def test_a_fit_tells_the_rates_at_which_columns_sell(world: World, owner: Person) -> None:
    machines = shop(world)
    for machine in machines:
        sell_and_read(machine, until=world.now)
    run = runs.start(actor=owner, now=world.now)
    assert run.columns == 6
    for chunk in runs.due(now=world.now):
        assert fit_chunk(chunk_id=chunk, clock=clock(world.now))
    run.refresh_from_db()
    assert run.state == FitRun.State.DONE
    for machine in machines:
        for label, rate in (("1", 6.0), ("2", 2.5)):
            demand = ColumnDemand.objects.get(column=column(machine, label))
            assert demand.basis == "reads"
            assert demand.intervals == 70
            assert demand.a_day == pytest.approx(rate, rel=0.25)
    assert ColumnNeed.objects.count() == 6
