"""Compliance: what rules demand of the business, its sites, machines and food, and what is called
back."""

from .duties import Duty, DutyDone, DutyRule
from .evidence import Evidence
from .recalls import Recall, RecallRemoval, RecallVisit
from .temperatures import FoodLock, TemperatureLimits

__all__ = [
    "Duty",
    "DutyDone",
    "DutyRule",
    "Evidence",
    "FoodLock",
    "Recall",
    "RecallRemoval",
    "RecallVisit",
    "TemperatureLimits",
]
