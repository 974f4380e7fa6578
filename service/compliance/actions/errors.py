"""What cannot be done for compliance, and why."""

from people.errors import Unable
from people.models import Business

from ..models import Duty, FoodLock, Recall


class DutyNotOpen(Unable):
    code = "duty_not_open"

    def __init__(self, duty: Duty) -> None:
        super().__init__(f"{duty}: this turn is {duty.get_state_display()}; look again")


class NotLocked(Unable):
    code = "not_locked"

    def __init__(self, lock: FoodLock) -> None:
        super().__init__(f"{lock}: this lock was lifted already, by {lock.lifted_by}")


class RecallOpenAlready(Unable):
    code = "recall_open_already"

    def __init__(self, recall: Recall) -> None:
        super().__init__(
            f"{recall}: the same goods are called back already, since "
            f"{Business.the().day_of(recall.opened_at)}; go on with that recall"
        )


class RecallClosed(Unable):
    code = "recall_closed"

    def __init__(self, recall: Recall) -> None:
        super().__init__(f"{recall} is closed; open another one")
