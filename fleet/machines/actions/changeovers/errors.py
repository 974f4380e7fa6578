"""What could not be done with a changeover, and why."""

from people.errors import Unable


class _Refused(Unable):
    done = "done"

    def __init__(self, subject: object, why: str, *, code: str | None = None) -> None:
        super().__init__(f"{subject} cannot be {self.done}: {why}", code=code)


class UnableToPlan(_Refused):
    code = "unable_to_plan"
    done = "planned"


class UnableToTake(_Refused):
    code = "unable_to_take"
    done = "taken in hand"


class UnableToComplete(_Refused):
    code = "unable_to_complete"
    done = "completed"


class UnableToAbandon(_Refused):
    code = "unable_to_abandon"
    done = "abandoned"
