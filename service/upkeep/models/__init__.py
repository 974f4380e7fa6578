"""Upkeep: plans of maintenance, what comes due when, what was done, and readings taken by hand."""

from .calendars import CalendarAddress
from .due import DueWork
from .plans import MaintenancePlan, OwnTerms
from .work import MaintenanceDone, Reading

__all__ = [
    "CalendarAddress",
    "DueWork",
    "MaintenanceDone",
    "MaintenancePlan",
    "OwnTerms",
    "Reading",
]
