"""Runs: depots and vehicles, who drives when, what was planned, and what was done on the road."""

from .assumptions import RunAssumptions
from .depots import Depot, Vehicle
from .dispatch import BoardView, TicketStop
from .drivers import DayOff, DriverProfile, ServiceAgreement, Shift, WorkingDay
from .plans import DayPlan, PlannedMachine
from .runs import LoadLine, Run, Stop
from .visits import RoadAct, ServiceTime, Visit

__all__ = [
    "BoardView",
    "DayOff",
    "DayPlan",
    "Depot",
    "DriverProfile",
    "LoadLine",
    "PlannedMachine",
    "RoadAct",
    "Run",
    "RunAssumptions",
    "ServiceAgreement",
    "ServiceTime",
    "Shift",
    "Stop",
    "TicketStop",
    "Vehicle",
    "Visit",
    "WorkingDay",
]
