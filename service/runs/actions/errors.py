"""What could not be planned or changed, and why."""

from people.errors import Unable

from ..models import Run


class RunsHaveBegun(Unable):
    code = "run_has_begun"

    def __init__(self, run: Run, why: str) -> None:
        super().__init__(f"{run}: the run is {run.get_state_display()}; {why}")


class CannotChange(Unable):
    """A change of runs that the day does not allow."""

    code = "cannot_change_runs"
