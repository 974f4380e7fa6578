"""When a vehicle is where on a given order of stops, what that costs and which rules it breaks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from .problem import Load, Problem, Stop, Vehicle, Window
from .results import Fault, PlannedRun, PlannedStop, Rule
from .road import Outset


@dataclass(frozen=True)
class Timed:
    """A run with its times, and what is wrong with it."""

    run: PlannedRun
    drive_m: int
    cost: int
    faults: tuple[Fault, ...]

    @property
    def work_s(self) -> int:
        return self.run.ends_s - self.run.starts_s


def cost_of(vehicle: Vehicle, drive_m: int, work_s: int) -> int:
    """What a run costs in minor units: the vehicle, its way, its hours and its overtime.

    Rounded half up once a run (1 km is 1,000 m, 1 h is 3,600 s: both divide 18,000).
    """
    overtime_s = max(0, work_s - vehicle.shift_s)
    parts = (
        18 * drive_m * vehicle.cost_per_km
        + 5 * work_s * vehicle.cost_per_hour
        + 5 * overtime_s * vehicle.overtime_cost_per_hour
    )
    return vehicle.cost + (2 * parts + 18_000) // 36_000


def timed(problem: Problem, vehicle: Vehicle, stops: Sequence[Stop], outset: Outset) -> Timed:
    """The run through these stops in this order, at the times that cost least.

    Every stop is reached as early as it can be and visited in its first window that still serves;
    the run then begins as late as it can without ending later, so that nobody waits for nothing.
    Where stops have several windows, later ones are tried too while there is waiting to be saved.
    A window that is missed does not end the run: it is told as a fault.
    """
    route = _Route(problem, vehicle, stops, outset)
    at_s = outset.earliest_s
    best = route.from_start(at_s)
    several = outset.began_s is None and any(len(stop.windows) > 1 for stop in stops)
    tries = sum(len(stop.windows) for stop in stops) if several else 0
    latest = best
    while tries and latest.waits and not latest.late:
        tries -= 1
        latest = route.from_start(latest.starts_s + 1)
        if latest.rank < best.rank:
            best = latest
    return route.told(best)


@dataclass(frozen=True)
class _Times:
    starts_s: int
    begins_s: tuple[int, ...]
    ends_s: int
    late: tuple[tuple[int, int], ...]  # (position, seconds)
    waits: bool
    over_s: int
    cost: int

    @property
    def rank(self) -> tuple[int, int, int, int]:
        """Better is less: windows missed, seconds over the hours, cost, hour of the end."""
        return (len(self.late), self.over_s, self.cost, self.ends_s)


class _Route:
    def __init__(
        self, problem: Problem, vehicle: Vehicle, stops: Sequence[Stop], outset: Outset
    ) -> None:
        self.vehicle, self.stops, self.outset = vehicle, stops, outset
        end = problem.depot_named[vehicle.end_depot].place
        places = [outset.place, *(stop.place for stop in stops), end]
        legs = list(pairwise(places))
        self.drives_s = [problem.matrix.seconds[a][b] for a, b in legs]
        self.drives_m = [problem.matrix.metres[a][b] for a, b in legs]
        self.stays = not stops and outset.began_s is None
        self.drive_m = 0 if self.stays else sum(self.drives_m)

    def from_start(self, starts_s: int) -> _Times:
        """The times when it begins at the earliest then, moved later as far as that costs none."""
        begins, closes, late, ends_s = self._forward(starts_s, None)
        if self.outset.began_s is None:
            slack_s = self._slack(begins, closes, late, ends_s, starts_s)
            if slack_s:
                starts_s += slack_s
                begins, closes, late, ends_s = self._forward(starts_s, closes)
        began_s = starts_s if self.outset.began_s is None else self.outset.began_s
        work_s = ends_s - began_s
        most_s = self.vehicle.shift_s + self.vehicle.overtime_s
        needed_s = self.outset.loading_s + sum(self.drives_s) + sum(s.service_s for s in self.stops)
        return _Times(
            starts_s=began_s,
            begins_s=tuple(begins),
            ends_s=ends_s,
            late=tuple(late),
            waits=ends_s - starts_s > needed_s,
            over_s=max(0, ends_s - self.vehicle.ends_s, work_s - most_s),
            cost=cost_of(self.vehicle, self.drive_m, work_s),
        )

    def _forward(
        self, starts_s: int, chosen: Sequence[Window | None] | None
    ) -> tuple[list[int], list[Window | None], list[tuple[int, int]], int]:
        if self.stays:
            return [], [], [], starts_s
        now_s = starts_s + self.outset.loading_s
        begins: list[int] = []
        windows: list[Window | None] = []
        late: list[tuple[int, int]] = []
        for at, stop in enumerate(self.stops):
            now_s += self.drives_s[at]
            window = chosen[at] if chosen else _first_open(stop, now_s)
            if window is not None:
                now_s = max(now_s, window.opens_s)
            elif stop.windows:
                last_s = max(one.closes_s for one in stop.windows)
                late.append((at, max(1, now_s + stop.service_s - last_s)))
            begins.append(now_s)
            windows.append(window)
            now_s += stop.service_s
        return begins, windows, late, now_s + self.drives_s[-1]

    def _slack(
        self,
        begins: Sequence[int],
        windows: Sequence[Window | None],
        late: Sequence[tuple[int, int]],
        ends_s: int,
        starts_s: int,
    ) -> int:
        """How much later it may begin without ending later or missing a window it keeps."""
        if self.stays:
            return 0
        by_s = ends_s - self.drives_s[-1]  # the latest to leave the last stop
        missed = {at for at, _ in late}
        for at in range(len(self.stops) - 1, -1, -1):
            stop, window = self.stops[at], windows[at]
            by_s -= stop.service_s
            if window is not None:
                by_s = min(by_s, window.closes_s - stop.service_s)
            elif at in missed:
                by_s = min(by_s, begins[at])
            by_s -= self.drives_s[at]
        return max(0, by_s - self.outset.loading_s - starts_s)

    def told(self, times: _Times) -> Timed:
        stops = []
        leaves_s = self.outset.earliest_s if self.outset.began_s is not None else times.starts_s
        leaves_s += self.outset.loading_s
        for at, stop in enumerate(self.stops):
            begins_s = times.begins_s[at]
            arrives_s = leaves_s + self.drives_s[at]
            leaves_s = begins_s + stop.service_s
            stops.append(
                PlannedStop(
                    stop.name,
                    arrives_s,
                    begins_s,
                    leaves_s,
                    self.drives_s[at],
                    self.drives_m[at],
                )
            )
        run = PlannedRun(
            self.vehicle.name, times.starts_s, times.ends_s, (*self.outset.done, *stops)
        )
        drive_m = self.drive_m + sum(one.drive_m for one in self.outset.done)
        cost = cost_of(self.vehicle, drive_m, times.ends_s - times.starts_s)
        if self.stays:
            drive_m = cost = 0
        return Timed(run, drive_m, cost, tuple(self._faults(times)))

    def _faults(self, times: _Times) -> list[Fault]:
        name = self.vehicle.name
        faults = [
            Fault(
                Rule.WINDOW,
                f"{self.stops[at].name} would be visited {_minutes(by_s)} after its last window.",
                name,
                self.stops[at].name,
                by_s,
            )
            for at, by_s in times.late
        ]
        if times.over_s:
            detail = f"The run of {name} would end {_minutes(times.over_s)} after its hours."
            faults.append(Fault(Rule.SHIFT, detail, name, by=times.over_s))
        load = sum((stop.load for stop in self.stops), Load())
        for what, by in self.outset.capacity.exceeded(load):
            detail = f"{name} would carry {by} too much ({what})."
            faults.append(Fault(Rule.CAPACITY, detail, name, by=by))
        for stop in self.stops:
            missing = sorted(set(stop.skills) - set(self.vehicle.skills))
            if missing:
                detail = f"{stop.name} asks for {', '.join(missing)}, which {name} has not."
                faults.append(Fault(Rule.SKILL, detail, name, stop.name, len(missing)))
        return faults


def _first_open(stop: Stop, now_s: int) -> Window | None:
    """The first window in which the whole visit fits, for who comes at `now_s`."""
    fitting = (
        window
        for window in stop.windows
        if max(now_s, window.opens_s) + stop.service_s <= window.closes_s
    )
    return min(fitting, key=lambda one: (one.opens_s, one.closes_s), default=None)


def _minutes(seconds: int) -> str:
    return f"{-(-seconds // 60)} min"
