"""What could not be done on the road, and why. Nothing was changed."""

from datetime import datetime

from people.errors import Unable

from ...models import Run, Stop, Visit


def said(moment: datetime, stop_or_run: Stop | Run) -> str:
    """A moment as the people there would say it."""
    site = stop_or_run.site if isinstance(stop_or_run, Stop) else stop_or_run.depot.site
    return f"{moment.astimezone(site.time_zone):%Y-%m-%d %H:%M}"


class RunNotStarted(Unable):
    code = "run_not_started"

    def __init__(self, run: Run) -> None:
        super().__init__(f"{run}: the run is {run.get_state_display()}; start it first")


class RunEnded(Unable):
    code = "run_ended"

    def __init__(self, run: Run) -> None:
        when = said(run.ended_at, run) if run.ended_at else "before"
        super().__init__(f"{run}: the run ended at {when}; what came after belongs to another run")


class RunNotAgreed(Unable):
    code = "run_not_agreed"

    def __init__(self, run: Run) -> None:
        super().__init__(f"{run}: the dispatcher has not agreed to this run yet")


class MachineMoved(Unable):
    code = "machine_moved"

    def __init__(self, stop: Stop, stood: str) -> None:
        super().__init__(
            f"{stop.machine} was to be at {stop.site} and {stood}; ask the dispatcher to plan anew"
        )


class BeingVisited(Unable):
    code = "being_visited"

    def __init__(self, stop: Stop, other: Visit) -> None:
        until = f" to {said(other.left_at, stop)}" if other.left_at else ""
        hint = (
            ""
            if other.left_at
            else "; if nobody is there, arrive once more and say so (`nobody_here`)"
        )
        super().__init__(
            f"{stop.machine}: {other.driver} is at it from {said(other.arrived_at, stop)}"
            f"{until}{hint}"
        )


class StopNotToVisit(Unable):
    code = "stop_visited"

    def __init__(self, stop: Stop, visit: Visit) -> None:
        super().__init__(
            f"{stop}: it was visited at {said(visit.arrived_at, stop)} and cannot be skipped"
        )
