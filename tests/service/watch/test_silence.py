"""Columns that stopped selling, and columns that only look so."""

from datetime import timedelta

import pytest

from service.watch.models import Finding
from tests.fleet.demand.sellers import fit_all, shop
from tests.world import World

from .sold import live, looked, sells


@pytest.mark.django_db
def test_a_column_that_stopped_is_found_with_its_evidence(world: World) -> None:
    good, bad, slow = shop(world, 3)
    sells(good, until=world.now)
    sells(bad, until=world.now, stops={"1": 6})
    sells(slow, until=world.now, rates={"1": 6.0, "2": 0.05})
    fit_all(world.owner, world.now)
    look = looked(world.now)
    assert (look.state, look.columns, look.opened) == ("done", 6, 1)
    (found,) = live()
    assert (found.machine, found.column.position.label) == (bad, "1")
    assert found.kind == Finding.Kind.SILENT
    numbers = found.evidence["numbers"]
    assert numbers["expected_units"] == pytest.approx(36, rel=0.25)
    assert numbers["silent_days"] == pytest.approx(6, abs=0.1)
    assert numbers["chance_by_rate"] < 1e-6
    assert found.strength > 2.5
    assert found.since == pytest.approx(world.now - timedelta(days=6), abs=timedelta(hours=1))
    assert found.evidence["chart"]["sold"][-6:] == [0] * 6
    assert found.causes[0]["weight"] >= found.causes[-1]["weight"]
    assert "no such ticket has closed yet" in found.causes[0]["cases_said"]
