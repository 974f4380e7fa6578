"""Machines that sell by a known rate, read by their audit files or counted at visits."""

from collections.abc import Callable
from datetime import datetime, timedelta
from itertools import count
from zoneinfo import ZoneInfo

import numpy as np

from fleet.demand.actions import runs
from fleet.demand.actions.refit import fit_chunk
from fleet.demand.models import FitRun
from fleet.machines.models import Column, Machine
from fleet.sales.actions.receive import ReceivedFile, receive
from people.models import Person
from tests.fleet.sales.meter import Meter
from tests.world import World

NEW_YORK = ZoneInfo("America/New_York")
RATES = {"1": 6.0, "2": 2.5}
"""Units a day that customers of columns 1 and 2 ask for."""


def sell_and_read(
    machine: Machine,
    *,
    until: datetime,
    days: int = 70,
    every: int = 1,
    rates: dict[str, float] = RATES,
    seed: int = 20260302,
) -> dict[str, int]:
    """Sell Poisson numbers a day and hand in a read every so many days; what was sold in all."""
    tag = machine.asset_tag
    draw = np.random.default_rng([seed, *tag.encode()])
    meter = Meter.with_buttons(*rates, asset=tag, serial=f"S{tag}", board=f"B{tag}")
    start = (until - timedelta(days=days)).astimezone(NEW_YORK).replace(tzinfo=None)
    files = [ReceivedFile("", meter.read(start))]
    sold = dict.fromkeys(rates, 0)
    for day in range(1, days + 1):
        for code, rate in rates.items():
            units = int(draw.poisson(rate))
            sold[code] += units
            meter.sell(code, cash=units)
        if day % every == 0:
            files.append(ReceivedFile("", meter.read(start + timedelta(days=day))))
    receive(files=files, source="api", actor=None, now=until)
    return sold


def shop(world: World, many: int = 3) -> list[Machine]:
    """Machines at sites of their own, cans in columns 1 and 2, Cola and Lemon."""
    kind = world.kind()
    can = world.can()
    cola, lemon = world.product("Cola", can), world.product("Lemon", can)
    stop = kind.programs.get(name="stop")
    machines = []
    for number in range(many):
        machine = world.machine(f"M-{number}", kind, site=world.site(f"Site {number}"))
        for label, product in (("1", cola), ("2", lemon)):
            world.set_up(
                world.column(machine, label),
                product,
                deep=2,
                front_setting=20,
                program=stop,
                starts_at=world.now - timedelta(days=200),
            )
        machines.append(machine)
    return machines


def column(machine: Machine, label: str) -> Column:
    return machine.columns.select_related("position__kind", "machine__kind").get(
        position__label=label
    )


def clock(at: datetime) -> Callable[[], datetime]:
    """A clock that goes on a second whenever it is looked at."""
    seconds = count()
    return lambda: at + timedelta(seconds=next(seconds))


def fit_all(owner: Person, now: datetime) -> FitRun:
    """Fit every column, as workers do, one part after the other."""
    run = runs.start(actor=owner, now=now)
    for chunk in runs.due(now=now):
        assert fit_chunk(chunk_id=chunk, clock=clock(now))
    run.refresh_from_db()
    return run
