"""What of a day has happened already, and from where each vehicle goes on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from .problem import BadProblem, Capacity, Load, Problem, Vehicle
from .results import Plan, PlannedStop


@dataclass(frozen=True)
class Done:
    """A stop that was visited, with its real times. One being visited has the time it will end."""

    stop: str
    arrived_s: int
    left_s: int

    def __post_init__(self) -> None:
        if self.left_s < self.arrived_s:
            raise BadProblem(f"Stop {self.stop} was left before it was reached.")


@dataclass(frozen=True)
class Road:
    """The day so far: nothing may be planned before `now_s`, done stops stay with their real
    times, locked stops stay on their run and in their order."""

    now_s: int = 0
    done: tuple[Done, ...] = ()
    locked: frozenset[str] = frozenset()

    @cached_property
    def done_named(self) -> Mapping[str, Done]:
        return {one.stop: one for one in self.done}


@dataclass(frozen=True)
class Outset:
    """From where, when and with what room a vehicle goes on.

    A run that has not begun loads at its depot and may begin any time from `earliest_s`. One that
    has begun stands at its last done stop, and its work counts from `began_s`.
    """

    place: int
    earliest_s: int
    loading_s: int
    capacity: Capacity
    began_s: int | None = None
    done: tuple[PlannedStop, ...] = ()


def outset(problem: Problem, vehicle: Vehicle, road: Road, plan: Plan | None) -> Outset:
    """Where a vehicle of this plan stands, given the day so far."""
    depot = problem.depot_named[vehicle.start_depot]
    run = next((run for run in plan.runs if run.vehicle == vehicle.name), None) if plan else None
    done = tuple(
        sorted(
            (
                PlannedStop(
                    one.stop,
                    road.done_named[one.stop].arrived_s,
                    road.done_named[one.stop].arrived_s,
                    road.done_named[one.stop].left_s,
                    0,
                    0,
                )
                for one in (run.stops if run else ())
                if one.stop in road.done_named
            ),
            # Visits that took no time stay in the order they had.
            key=lambda stop: (stop.leaves_s, stop.arrives_s),
        )
    )
    if run is None or not done:
        earliest_s = max(vehicle.starts_s, road.now_s)
        return Outset(depot.place, earliest_s, depot.loading_s, vehicle.capacity)
    carried, place, driven = Load(), depot.place, []
    for one in done:
        to = problem.stop_named[one.stop]
        carried += to.load
        drive_s = problem.matrix.seconds[place][to.place]
        drive_m = problem.matrix.metres[place][to.place]
        driven.append(
            PlannedStop(one.stop, one.arrives_s, one.begins_s, one.leaves_s, drive_s, drive_m)
        )
        place = to.place
    return Outset(
        place=place,
        earliest_s=max(done[-1].leaves_s, road.now_s),
        loading_s=0,
        capacity=vehicle.capacity.less(carried),
        began_s=min(run.starts_s, done[0].arrives_s),
        done=tuple(driven),
    )


def outsets(problem: Problem, road: Road, plan: Plan | None) -> dict[str, Outset]:
    """The outset of every vehicle."""
    return {
        vehicle.name: outset(problem, vehicle, road, plan)
        for vehicle in sorted(problem.vehicles, key=lambda one: one.name)
    }
