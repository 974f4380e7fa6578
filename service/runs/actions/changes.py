"""What a change does to a day, as it is told before anybody accepts it."""

from dataclasses import dataclass

from service.compute.routing.results import Delta, Plan

from ..board import Board
from ..models import Run


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


@dataclass(frozen=True)
class LeftOff:
    """A machine that is on no run of a day planned anew, though it was or had to be, and why."""

    machine: str
    must_go: bool
    why: str


@dataclass(frozen=True)
class Rest:
    """The runs of a day whose rest is planned anew, and what no longer fits on them."""

    runs: list[Run]
    left_off: tuple[LeftOff, ...]

    @property
    def said(self) -> str:
        """In words: `2 runs. Left off: R-1 (no longer fits).`"""
        runs = f"{len(self.runs)} run{'' if len(self.runs) == 1 else 's'}."
        if not self.left_off:
            return f"{runs} Nothing is left off."
        return (
            f"{runs} Left off: {', '.join(f'{one.machine} ({one.why})' for one in self.left_off)}."
        )


def left_off_of(board: Board, plan: Plan) -> tuple[LeftOff, ...]:
    """What a plan leaves off: must-go stops with the rules against them, then what was agreed to
    and is worth less than those, or fits no more."""
    must = tuple(LeftOff(one.stop, must_go=True, why=one.detail.rstrip(".")) for one in plan.left)
    named = {one.machine for one in must}
    others = (name for name in plan.out if name not in named and board.stops[name].pk is not None)
    return (*must, *(LeftOff(name, must_go=False, why="no longer fits") for name in others))


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
