"""What cannot be done with upkeep, and why."""

from people.errors import Unable

from ..models import DueWork, MaintenanceDone


class NotOpen(Unable):
    code = "due_work_not_open"

    def __init__(self, due: DueWork) -> None:
        super().__init__(f"{due}: this turn is {due.get_state_display()}; look again")


class ToldAlready(Unable):
    code = "told_already"

    def __init__(self, done: MaintenanceDone) -> None:
        super().__init__(f"{done} was written down already, by {done.by}")
