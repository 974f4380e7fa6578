"""Audit reads, what was sold between them, and what the machines reported."""

from .bags import Bag, BagCount
from .cards import CardTerminal, SettlementFile, SettlementLine, SettlementMapping
from .cash_limits import CashLimits
from .commission import Agreement, Statement, StatementCorrection, StatementPayment
from .custody import BagCountLine, BagStep, BankedBag, Banking, BankingConfirmed
from .decisions import EpochDecision
from .events import EventMeaning, EventOccurrence, MachineEvent
from .floats import HostFloatLine, TubeFill
from .intervals import MachineInterval, SaleInterval
from .reads import AuditRead

__all__ = [
    "Agreement",
    "AuditRead",
    "Bag",
    "BagCount",
    "BagCountLine",
    "BagStep",
    "BankedBag",
    "Banking",
    "BankingConfirmed",
    "CardTerminal",
    "CashLimits",
    "EpochDecision",
    "EventMeaning",
    "EventOccurrence",
    "HostFloatLine",
    "MachineEvent",
    "MachineInterval",
    "SaleInterval",
    "SettlementFile",
    "SettlementLine",
    "SettlementMapping",
    "Statement",
    "StatementCorrection",
    "StatementPayment",
    "TubeFill",
]
