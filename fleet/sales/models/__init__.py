"""Audit reads, what was sold between them, and what the machines reported."""

from .bags import Bag, BagCount
from .decisions import EpochDecision
from .events import EventMeaning, EventOccurrence, MachineEvent
from .intervals import MachineInterval, SaleInterval
from .reads import AuditRead

__all__ = [
    "AuditRead",
    "Bag",
    "BagCount",
    "EpochDecision",
    "EventMeaning",
    "EventOccurrence",
    "MachineEvent",
    "MachineInterval",
    "SaleInterval",
]
