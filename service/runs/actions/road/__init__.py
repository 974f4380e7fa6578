"""The acts of a driver's day, each under a key of its own, late or out of order as they come."""

from .core import Answer, Sent
from .day import OnTruck, arrive, end_day, leave, skip, start
from .machine import bag, change_over, read
from .picking import Extra, Picked, pick
from .stock import Counted, Filled, Removed, count, fill, remove

__all__ = [
    "Answer",
    "Counted",
    "Extra",
    "Filled",
    "OnTruck",
    "Picked",
    "Removed",
    "Sent",
    "arrive",
    "bag",
    "change_over",
    "count",
    "end_day",
    "fill",
    "leave",
    "pick",
    "read",
    "remove",
    "skip",
    "start",
]
