"""What a change does to a day, as it is told before anybody accepts it."""

from dataclasses import dataclass

from service.compute.routing.results import Delta


@dataclass(frozen=True)
class Late:
    """A stop that would miss its hours, or be reached later (below zero: earlier) than before."""

    machine: str
    minutes: float


@dataclass(frozen=True)
class Change:
    """What a change does to a day: minutes and metres more, and whom it delays. `minor` is what it
    costs more; `faults` are the rules it breaks, in words."""

    minutes: float
    metres: int
    minor: int
    vehicle: str
    position: int
    delays: tuple[Late, ...]
    late: tuple[str, ...]
    faults: tuple[str, ...]
    said: str


def change_of(delta: Delta, vehicle: str, position: int) -> Change:
    """A difference of two plans in minutes and words; where the stop then is on which vehicle."""
    minutes = round(delta.work_s / 60, 1)
    late = f"; {', '.join(delta.late)} would miss its hours" if delta.late else ""
    return Change(
        minutes=minutes,
        metres=delta.drive_m,
        minor=delta.cost,
        vehicle=vehicle,
        position=position,
        delays=tuple(Late(one.stop, round(one.by_s / 60, 1)) for one in delta.delays),
        late=delta.late,
        faults=tuple(fault.detail for fault in delta.faults),
        said=f"{_in_words(delta.work_s)}{late}",
    )


def _in_words(work_s: int) -> str:
    """So much more or less work: `3 h 30 min more in all`."""
    minutes = round(abs(work_s) / 60)
    if not minutes:
        return "no more work in all"
    told = f"{minutes // 60} h {minutes % 60:02d} min" if minutes >= 60 else f"{minutes} min"
    return f"{told} {'more' if work_s > 0 else 'less'} in all"
