"""A stop put in, moved or taken out by hand: what that changes, before anybody says yes."""

from __future__ import annotations

from dataclasses import dataclass

from .day import told
from .places import Routes
from .problem import BadProblem, Problem, Stop
from .results import Delay, Delta, Fault, Insertion, Plan, Rule
from .road import Road
from .scoring import score

WORSE_S = 60
"""A shift overrun longer by less is no news."""


@dataclass(frozen=True)
class Move:
    """A stop put before position `at` of a vehicle's run, counted without the stop itself and from
    its first stop, done ones included. No vehicle: it is taken out."""

    stop: str
    vehicle: str
    at: int = 0


def insert(problem: Problem, plan: Plan, stop: str, road: Road | None = None) -> Insertion | None:
    """Where one more stop costs least, and what it does to the day.

    Done and locked stops stay where they are. Where no place keeps every rule, the one that breaks
    fewest is given, with its faults. None when there is no vehicle. Raises BadProblem when the
    stop is not of this problem, or is in the plan already.
    """
    so_far = road or Road()
    if plan.run_of(stop) is not None:
        raise BadProblem(f"Stop {stop} is in the plan already.")
    routes = Routes.of(problem, plan, so_far)
    best, least = routes.cheapest(_stop(problem, stop))
    spot = best or least
    if spot is None:
        return None
    done = len(routes.starts[spot.vehicle].done)
    delta = moved(problem, plan, Move(stop, spot.vehicle, done + spot.at), so_far)
    return Insertion(stop, spot.vehicle, done + spot.at, delta)


def moved(problem: Problem, plan: Plan, move: Move, road: Road | None = None) -> Delta:
    """What a move would change. Nothing is refused but what cannot be: the faults are told.

    Raises BadProblem when the stop or vehicle is unknown, the stop is done or locked, or the
    position lies before stops that are done.
    """
    so_far = road or Road()
    name = _stop(problem, move.stop).name
    if name in so_far.done_named:
        raise BadProblem(f"Stop {name} was visited already; it cannot be moved.")
    if name in so_far.locked:
        raise BadProblem(f"Stop {name} is locked; unlock it before it is moved.")
    routes = Routes.of(problem, plan, so_far)
    for vehicle, order in list(routes.orders.items()):
        if name in order:
            routes.put(vehicle, [other for other in order if other != name])
    if move.vehicle:
        _put(problem, routes, move)
    return difference(problem, plan, told(problem, routes), so_far)


def _put(problem: Problem, routes: Routes, move: Move) -> None:
    if move.vehicle not in problem.vehicle_named:
        raise BadProblem(f"There is no vehicle {move.vehicle!r}.")
    done = len(routes.starts[move.vehicle].done)
    order = routes.orders[move.vehicle]
    if not done <= move.at <= done + len(order):
        raise BadProblem(
            f"Position {move.at} on the run of {move.vehicle} is none;"
            f" it must be {done} to {done + len(order)}."
        )
    at = move.at - done
    routes.put(move.vehicle, (*order[:at], move.stop, *order[at:]))


def difference(
    problem: Problem, before: Plan, after: Plan, road: Road, then: Problem | None = None
) -> Delta:
    """A plan beside the one before it, both judged by the independent score.

    `then` is the problem as it is afterwards, where that changes too (a visit takes longer).
    """
    old, new = score(problem, before, road), score(then or problem, after, road)
    began = {one.stop: one.begins_s for run in before.runs for one in run.stops}
    delays = tuple(
        Delay(one.stop, one.begins_s - began[one.stop])
        for run in after.runs
        for one in run.stops
        if one.stop in began and one.begins_s != began[one.stop]
    )
    known = {(fault.rule, fault.vehicle, fault.stop): fault.by for fault in old.faults}
    faults = tuple(fault for fault in new.faults if _is_told(fault, known))
    return Delta(
        plan=after,
        work_s=new.work_s - old.work_s,
        drive_m=new.drive_m - old.drive_m,
        cost=new.cost - old.cost,
        gain=new.gain - old.gain,
        delays=delays,
        late=tuple(fault.stop for fault in faults if fault.rule is Rule.WINDOW),
        faults=faults,
    )


def _is_told(fault: Fault, known: dict[tuple[Rule, str, str], int]) -> bool:
    """Whether a change is to blame for a fault: a new one, or a shift that is overrun yet more."""
    before = known.get((fault.rule, fault.vehicle, fault.stop))
    return before is None or (fault.rule is Rule.SHIFT and fault.by >= before + WORSE_S)


def _stop(problem: Problem, name: str) -> Stop:
    found = problem.stop_named.get(name)
    if found is None:
        raise BadProblem(f"There is no stop {name!r}.")
    return found
