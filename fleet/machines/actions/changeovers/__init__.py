"""A changeover goes planned, in hand, done or abandoned; it is never half-applied."""

from .carry_out import AsLeft, Removed, abandon, complete, take
from .errors import UnableToAbandon, UnableToComplete, UnableToPlan, UnableToTake
from .plan import LeftOut, PlannedLine, Replacement, plan, plan_replacement, why_not

__all__ = [
    "AsLeft",
    "LeftOut",
    "PlannedLine",
    "Removed",
    "Replacement",
    "UnableToAbandon",
    "UnableToComplete",
    "UnableToPlan",
    "UnableToTake",
    "abandon",
    "complete",
    "plan",
    "plan_replacement",
    "take",
    "why_not",
]
