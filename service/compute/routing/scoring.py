"""A plan judged anew from the problem alone: what it costs and earns, and every rule it breaks.

Nothing here comes from the search or from the arithmetic that timed the plan, so that a mistake
in either shows here.
"""

from __future__ import annotations

from fractions import Fraction

from .problem import Problem, Stop, Vehicle
from .results import Fault, Plan, PlannedRun, PlannedStop, Rule, RunScore, Score
from .road import Road


def score(problem: Problem, plan: Plan, road: Road | None = None) -> Score:
    """The figures and faults of a plan. What is done already is taken as it was."""
    done = {one.stop for one in road.done} if road else set()
    faults: list[Fault] = []
    runs = [_run(problem, run, done, faults) for run in plan.runs]
    faults += _names(problem, plan)
    visited = {one.stop for run in plan.runs for one in run.stops}
    left_prizes = sum(stop.prize for stop in problem.stops if stop.name not in visited)
    cost, prizes = sum(run.cost for run in runs), sum(run.prizes for run in runs)
    return Score(
        runs=tuple(runs),
        drive_s=sum(run.drive_s for run in runs),
        drive_m=sum(run.drive_m for run in runs),
        work_s=sum(run.work_s for run in runs),
        overtime_s=sum(run.overtime_s for run in runs),
        cost=cost,
        prizes=prizes,
        left_prizes=left_prizes,
        gain=prizes - cost,
        faults=tuple(faults),
    )


def _names(problem: Problem, plan: Plan) -> list[Fault]:
    known = {stop.name for stop in problem.stops}
    faults, seen, out = [], set(), set()
    for run in plan.runs:
        if run.vehicle in out:
            faults.append(Fault(Rule.TWICE, f"{run.vehicle} has two runs.", run.vehicle))
        out.add(run.vehicle)
        for one in run.stops:
            if one.stop not in known:
                detail = f"No stop of the problem is named {one.stop}."
                faults.append(Fault(Rule.UNKNOWN, detail, run.vehicle, one.stop))
            if one.stop in seen:
                detail = f"{one.stop} is visited twice."
                faults.append(Fault(Rule.TWICE, detail, run.vehicle, one.stop))
            seen.add(one.stop)
    for stop in sorted(problem.stops, key=lambda one: one.name):
        if stop.must_go and stop.name not in seen:
            detail = f"{stop.name} has to be visited ({stop.must_go}) and is not."
            faults.append(Fault(Rule.MUST_GO, detail, stop=stop.name))
    return faults


def _run(problem: Problem, run: PlannedRun, done: set[str], faults: list[Fault]) -> RunScore:
    vehicles = {vehicle.name: vehicle for vehicle in problem.vehicles}
    stops = {stop.name: stop for stop in problem.stops}
    depots = {depot.name: depot for depot in problem.depots}
    vehicle = vehicles.get(run.vehicle)
    if vehicle is None:
        detail = f"No vehicle of the problem is named {run.vehicle}."
        faults.append(Fault(Rule.UNKNOWN, detail, run.vehicle))
        return RunScore(run.vehicle, len(run.stops), 0, 0, 0, 0, 0, 0, 0, 0)
    start, end = depots[vehicle.start_depot], depots[vehicle.end_depot]
    visits = [(stops[one.stop], one) for one in run.stops if one.stop in stops]
    place, free_s = start.place, run.starts_s + start.loading_s
    drive_s = drive_m = service_s = 0
    for stop, one in visits:
        leg_s = problem.matrix.seconds[place][stop.place]
        drive_s, drive_m = drive_s + leg_s, drive_m + problem.matrix.metres[place][stop.place]
        if stop.name in done:
            service_s += one.leaves_s - one.begins_s
        else:
            service_s += stop.service_s
            faults += _visit(vehicle, stop, one, free_s + leg_s)
        place, free_s = stop.place, one.leaves_s
    if visits:
        back_s = problem.matrix.seconds[place][end.place]
        drive_s, drive_m = drive_s + back_s, drive_m + problem.matrix.metres[place][end.place]
        if run.ends_s < free_s + back_s:
            faults.append(_early(vehicle, "the depot", "", free_s + back_s - run.ends_s))
    work_s = run.ends_s - run.starts_s
    overtime_s = max(0, work_s - vehicle.shift_s)
    faults += _hours(vehicle, run, bool(done & {stop.name for stop, _ in visits}))
    faults += _load(vehicle, [stop for stop, _ in visits])
    loading_s = start.loading_s if visits else 0
    exact = (
        vehicle.cost
        + Fraction(drive_m * vehicle.cost_per_km, 1000)
        + Fraction(work_s * vehicle.cost_per_hour, 3600)
        + Fraction(overtime_s * vehicle.overtime_cost_per_hour, 3600)
    )
    return RunScore(
        vehicle=vehicle.name,
        stops=len(run.stops),
        drive_s=drive_s,
        drive_m=drive_m,
        service_s=service_s,
        wait_s=max(0, work_s - drive_s - service_s - loading_s),
        work_s=work_s,
        overtime_s=overtime_s,
        cost=int(exact + Fraction(1, 2)) if visits else 0,  # half a minor unit is rounded up
        prizes=sum(stop.prize for stop, _ in visits),
    )


def _visit(vehicle: Vehicle, stop: Stop, one: PlannedStop, possible_s: int) -> list[Fault]:
    faults = []
    if one.arrives_s < possible_s:
        faults.append(_early(vehicle, stop.name, stop.name, possible_s - one.arrives_s))
    if one.begins_s < one.arrives_s or one.leaves_s < one.begins_s + stop.service_s:
        detail = f"The visit to {stop.name} is shorter than it takes."
        faults.append(Fault(Rule.TRAVEL, detail, vehicle.name, stop.name))
    whole = (one.begins_s, max(one.leaves_s, one.begins_s + stop.service_s))
    if stop.windows and not any(
        window.opens_s <= whole[0] and whole[1] <= window.closes_s for window in stop.windows
    ):
        by_s = min(
            max(window.opens_s - whole[0], whole[1] - window.closes_s) for window in stop.windows
        )
        detail = f"The visit to {stop.name} lies {_long(by_s)} outside its nearest window."
        faults.append(Fault(Rule.WINDOW, detail, vehicle.name, stop.name, by_s))
    lacking = [skill for skill in stop.skills if skill not in vehicle.skills]
    if lacking:
        detail = f"{vehicle.name} lacks {', '.join(sorted(lacking))} for {stop.name}."
        faults.append(Fault(Rule.SKILL, detail, vehicle.name, stop.name, len(lacking)))
    return faults


def _long(seconds: int) -> str:
    """`2 h 05 min`, `12 min`; below a minute in seconds, so that nothing is said to be 0."""
    if seconds < 60:
        return f"{seconds} s"
    minutes = round(seconds / 60)
    return f"{minutes // 60} h {minutes % 60:02d} min" if minutes >= 60 else f"{minutes} min"


def _early(vehicle: Vehicle, where: str, stop: str, by_s: int) -> Fault:
    detail = f"{vehicle.name} cannot be at {where} that soon: {_long(by_s)} too early."
    return Fault(Rule.TRAVEL, detail, vehicle.name, stop, by_s)


def _hours(vehicle: Vehicle, run: PlannedRun, begun: bool) -> list[Fault]:
    early_s = 0 if begun else vehicle.starts_s - run.starts_s
    over_s = run.ends_s - run.starts_s - vehicle.shift_s - vehicle.overtime_s
    by_s = max(early_s, run.ends_s - vehicle.ends_s, over_s)
    if by_s <= 0:
        return []
    detail = f"The run of {vehicle.name} goes {_long(by_s)} beyond its hours."
    return [Fault(Rule.SHIFT, detail, vehicle.name, by=by_s)]


def _load(vehicle: Vehicle, stops: list[Stop]) -> list[Fault]:
    faults = []
    for what, most in vehicle.capacity.parts():
        carried = sum(dict(stop.load.parts())[what] for stop in stops)
        if most is not None and carried > most:
            detail = f"{vehicle.name} carries {carried - most} too much ({what})."
            faults.append(Fault(Rule.CAPACITY, detail, vehicle.name, by=carried - most))
    return faults
