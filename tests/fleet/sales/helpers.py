"""What the tests of sales share: hand a file in, and hold lines against machines."""

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from fleet.machines.models import Machine
from fleet.sales.actions.receive import Outcome, ReceivedFile, receive
from fleet.sales.models import MachineInterval, SaleInterval
from fleet.sales.models.intervals import SOLD

MONDAY = datetime(2026, 2, 2, 6)  # noqa: DTZ001 - a machine's clock knows no offset
"""By the machine's own clock, in New York."""


def day(number: int) -> datetime:
    """The machine's clock so many days after the first Monday."""
    return MONDAY + timedelta(days=number)


def arrived(clock: datetime, after: timedelta = timedelta(minutes=2)) -> datetime:
    """When a file arrives that a machine in New York writes at a time of its clock."""
    return clock.replace(tzinfo=ZoneInfo("America/New_York")) + after


def hand_in(
    *datas: bytes,
    at: datetime,
    name: str = "read.dts",
    machine: Machine | None = None,
    source: str = "api",
    actor: Any = None,
) -> list[Outcome]:
    """Receive files that arrive at one moment."""
    files = [ReceivedFile(name, data) for data in datas]
    return list(receive(files=files, source=source, actor=actor, now=at, machine=machine))


def take(meter: Any, clock: datetime, *, late: timedelta = timedelta(minutes=2)) -> Outcome:
    """Read a meter and hand the file in shortly after."""
    (outcome,) = hand_in(meter.read(clock), at=arrived(clock, late))
    return outcome


def told(machine: Machine) -> list[MachineInterval]:
    """Intervals of a machine in the order of time."""
    return list(MachineInterval.objects.filter(machine=machine).order_by("to_read__place", "pk"))


def sold(interval: MachineInterval) -> dict[str, int | None]:
    """Paid units by selection; the unassigned line is "". Shares are added up."""
    found: dict[str, int | None] = {}
    for line in interval.lines.order_by("pk"):
        known = found.get(line.selection_code)
        more = line.paid_units
        found[line.selection_code] = more if known is None else known + (more or 0)
    return found


def faults(intervals: Iterable[MachineInterval]) -> list[str]:
    """Where lines do not add up to the machine and the interval does not say why; and negatives."""
    wrong = []
    for interval in intervals:
        lines = list(SaleInterval.objects.filter(interval=interval))
        for name in SOLD:
            total = getattr(interval, name)
            parts = [getattr(line, name) for line in lines]
            if any(part is not None and part < 0 for part in parts):
                wrong.append(f"{interval} {name}: a negative part in {parts}")
            if total is None or not interval.sum_agrees:
                continue
            if sum(part or 0 for part in parts) != total:
                wrong.append(f"{interval} {name}: {parts} are not {total}")
        if not interval.sum_agrees and not interval.why_not:
            wrong.append(f"{interval} does not say why")
    return wrong
