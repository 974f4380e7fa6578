"""Machines whose counters say that something is wrong, and others whose counters do not."""

from collections.abc import Callable
from datetime import datetime, timedelta

import numpy as np

from fleet.machines.models import Machine
from fleet.sales.actions.receive import ReceivedFile, receive
from service.watch.actions import looking
from service.watch.models import Finding, Look
from tests.fleet.demand.sellers import NEW_YORK, RATES
from tests.fleet.sales.meter import Meter

Change = Callable[[Meter, int], None]
"""What happens to a meter before a read so many days before the end."""


def sells(
    machine: Machine,
    *,
    until: datetime,
    days: int = 70,
    rates: dict[str, float] = RATES,
    stops: dict[str, int] | None = None,
    closed: int = 0,
    happens: Change | None = None,
    seed: int = 20260302,
) -> Meter:
    """Sell Poisson numbers a day, read daily; the files are handed in together at the end.

    `stops`: by selection, days before the end from which on nothing of it is sold. `closed`: days
    before the end from which on nothing at all is.
    """
    draw = np.random.default_rng(seed + sum(map(ord, machine.asset_tag)))
    tag = machine.asset_tag
    meter = Meter.with_buttons(*rates, asset=tag, serial=f"S{tag}", board=f"B{tag}")
    start = until - timedelta(days=days)
    files = [meter.read(local(start))]
    for day in range(1, days + 1):
        left = days - day
        for code, rate in rates.items():
            units = int(draw.poisson(rate))
            if left >= max((stops or {}).get(code, 0), closed):
                meter.sell(code, cash=units)
        if happens is not None:
            happens(meter, left)
        files.append(meter.read(local(start + timedelta(days=day))))
    receive(files=[ReceivedFile("", one) for one in files], source="api", actor=None, now=until)
    return meter


def local(at: datetime) -> datetime:
    """A moment by the machine's own clock."""
    return at.astimezone(NEW_YORK).replace(tzinfo=None)


def hand_in(meter: Meter, at: datetime, off: timedelta = timedelta()) -> None:
    """A read taken now and received two minutes later; the machine's clock is `off` ahead."""
    clock = local(at) + off
    receive(
        files=[ReceivedFile("", meter.read(clock))],
        source="api",
        actor=None,
        now=at + timedelta(minutes=2),
    )


def looked(now: datetime) -> Look:
    """A look over the whole fleet, a little after the last read."""
    return looking.look(now=now + timedelta(minutes=30))


def live(*kinds: str) -> list[Finding]:
    """Findings that are open or have a ticket, the strongest first."""
    rows = Finding.objects.filter(state__in=["open", "ticketed"])
    if kinds:
        rows = rows.filter(kind__in=kinds)
    return list(rows.select_related("machine", "column__position", "ticket"))
