"""A machine that sold, was visited and mended, in a week whose figures can be added up by hand."""

from dataclasses import dataclass
from datetime import UTC, date, datetime
from decimal import Decimal

import pytest

from fleet.machines.actions import machines as placing
from fleet.machines.models import Machine, Product, Site
from fleet.sales.actions.receive import ReceivedFile, receive
from people.models import Person
from service.runs.actions import road
from tests.fleet.sales.meter import Meter
from tests.service.runs.roadwork import RoadWork, clock

WEEK = (date(2026, 3, 1), date(2026, 3, 8))
"""From a Sunday on: New York is five hours behind until the clocks change on the last day."""


@dataclass
class Earner:
    work: RoadWork
    machine: Machine
    meter: Meter

    @property
    def cola(self) -> Product:
        return self.work.cola

    @property
    def tea(self) -> Product:
        return self.work.tea

    def read(self, at: datetime) -> None:
        """A file of the counters as they stand, at the machine's own clock."""
        receive(
            files=[ReceivedFile("", self.meter.read(at))],
            source="api",
            actor=self.work.owner,
            now=datetime(2026, 3, 30, tzinfo=UTC),
        )

    def move(self, site: Site, at: datetime) -> None:
        placing.place_machine(
            machine=self.machine,
            site=site,
            starts_at=at,
            actor=self.work.owner,
            now=datetime(2026, 3, 30, tzinfo=UTC),
        )

    def visit(self, minutes: int = 30) -> None:
        """One stop on 2 March: out at 7:30, there at 8:00, the day ended at 9:00."""
        work = self.work
        run = work.out(self.machine)
        stop = work.stop(run, self.machine)
        work.do(road.arrive, clock(8), stop=stop)
        work.do(road.leave, clock(8, minutes), stop=stop)
        work.do(road.end_day, clock(9), run=run, truck=None)


@pytest.fixture
def earner(work: RoadWork, driver: Person) -> Earner:
    """Ten colas at 1.75 and four teas at 1.75, sold from 1 March, noon, to 3 March, noon."""
    machine = work.machines[0]
    meter = Meter.with_buttons("1", "2", asset=machine.asset_tag)
    found = Earner(work, machine, meter)
    noon = datetime(2026, 3, 1, 17, tzinfo=UTC).replace(tzinfo=None, hour=12)
    found.read(noon)
    meter.sell("1", cash=7, cashless=3).sell("2", cash=4)
    found.read(noon.replace(day=3))
    return found


COLA_COST = Decimal("0.62")
