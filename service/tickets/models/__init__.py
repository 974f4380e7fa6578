"""Tickets: what is wrong with a machine, who deals with it by when, and what mended it."""

from .acts import TicketAct
from .attachments import Attachment
from .refunds import Refund
from .settings import ServiceSettings
from .tickets import Ticket, TicketEvent
from .words import Cause, Symptom
from .work import PartUsed, WorkDone

__all__ = [
    "Attachment",
    "Cause",
    "PartUsed",
    "Refund",
    "ServiceSettings",
    "Symptom",
    "Ticket",
    "TicketAct",
    "TicketEvent",
    "WorkDone",
]
