"""What comes out of planning: runs, what was left, what it costs and earns, and why."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


@dataclass(frozen=True)
class PlannedStop:
    """A visit of a run: arrive, wait until `begins_s`, serve, leave. Driving is that to it."""

    stop: str
    arrives_s: int
    begins_s: int
    leaves_s: int
    drive_s: int
    drive_m: int


@dataclass(frozen=True)
class PlannedRun:
    """What one vehicle does: from `starts_s` (loading begins) until `ends_s` (back at a depot)."""

    vehicle: str
    starts_s: int
    ends_s: int
    stops: tuple[PlannedStop, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """The stops in order."""
        return tuple(one.stop for one in self.stops)


class Rule(StrEnum):
    """What a plan must keep to, and may be found to break."""

    WINDOW = "window"
    SHIFT = "shift"
    CAPACITY = "capacity"
    SKILL = "skill"
    TRAVEL = "travel"
    MUST_GO = "must_go"
    TWICE = "twice"
    UNKNOWN = "unknown"


@dataclass(frozen=True)
class Fault:
    """A rule a plan breaks, where, by how much (s, ml, g or cases), in words."""

    rule: Rule
    detail: str
    vehicle: str = ""
    stop: str = ""
    by: int = 0


@dataclass(frozen=True)
class Left:
    """A must-go stop that is not in the plan, and which rules keep it out."""

    stop: str
    must_go: str
    rules: tuple[Rule, ...]
    detail: str


@dataclass(frozen=True)
class Plan:
    """The runs of a day. `out` names every stop that is in none of them, `left` those of them
    that had to be visited and could not."""

    runs: tuple[PlannedRun, ...]
    out: tuple[str, ...] = ()
    left: tuple[Left, ...] = ()

    def run_of(self, stop: str) -> PlannedRun | None:
        """The run that visits a stop."""
        return next((run for run in self.runs if stop in run.names), None)


@dataclass(frozen=True)
class WeekPlan:
    """A plan for each day, and the must-go stops that found a place on none of their days."""

    days: tuple[Plan, ...]
    left: tuple[Left, ...] = ()


@dataclass(frozen=True)
class RunScore:
    """One run's figures: seconds, metres, minor units."""

    vehicle: str
    stops: int
    drive_s: int
    drive_m: int
    service_s: int
    wait_s: int
    work_s: int
    overtime_s: int
    cost: int
    prizes: int


@dataclass(frozen=True)
class Score:
    """What a plan costs and earns, reckoned anew from the problem, and every rule it breaks.

    `gain` = `prizes` - `cost`; `left_prizes` is what the stops left out would have been worth.
    """

    runs: tuple[RunScore, ...]
    drive_s: int
    drive_m: int
    work_s: int
    overtime_s: int
    cost: int
    prizes: int
    left_prizes: int
    gain: int
    faults: tuple[Fault, ...]


class Because(StrEnum):
    """Why a stop is in a plan or out of it."""

    MUST_GO = "must_go"
    WORTH_IT = "worth_it"
    KEPT = "kept"  # worth less than it costs: somebody put it there, or locked it
    DONE = "done"
    COSTS_MORE = "costs_more"
    NO_ROOM = "no_room"  # it could be visited, but not beside the others
    LEFT_OUT = "left_out"  # it would pay, but somebody took it out, or nobody planned anew since
    IMPOSSIBLE = "impossible"


@dataclass(frozen=True)
class Reason:
    """Why a stop is in or out.

    `detour_s` and `detour_cost` are what it adds to the day at its cheapest place (in: what leaving
    it out would save); None when no vehicle could ever visit it. `rules` are what keep it out.
    """

    stop: str
    visited: bool
    because: Because
    must_go: str
    prize: int
    units: float
    detour_s: int | None
    detour_cost: int | None
    vehicle: str
    rules: tuple[Rule, ...]
    detail: str


@dataclass(frozen=True)
class Delay:
    """A stop that would be reached later (or earlier, below zero) than before."""

    stop: str
    by_s: int


@dataclass(frozen=True)
class Delta:
    """A plan after a change beside the plan before it.

    `faults` are the rules that the changed plan breaks and the former did not; `late` the stops
    that then miss their window.
    """

    plan: Plan
    work_s: int
    drive_m: int
    cost: int
    gain: int
    delays: tuple[Delay, ...]
    late: tuple[str, ...]
    faults: tuple[Fault, ...]


@dataclass(frozen=True)
class Insertion:
    """Where a stop costs least: before position `at` of a vehicle's run."""

    stop: str
    vehicle: str
    at: int
    delta: Delta
