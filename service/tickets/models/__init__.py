"""Tickets: what is wrong with a machine, who deals with it by when, and what mended it."""

from .acts import TicketAct
from .attachments import Attachment
from .promises import ClosedDay, PromiseRule, ServiceHours
from .refunds import Refund
from .settings import ServiceSettings
from .stickers import Sticker
from .tickets import Ticket, TicketEvent
from .webhooks import WebhookDelivery, WebhookTarget
from .words import Cause, Symptom
from .work import PartUsed, WorkDone

__all__ = [
    "Attachment",
    "Cause",
    "ClosedDay",
    "PartUsed",
    "PromiseRule",
    "Refund",
    "ServiceHours",
    "ServiceSettings",
    "Sticker",
    "Symptom",
    "Ticket",
    "TicketAct",
    "TicketEvent",
    "WebhookDelivery",
    "WebhookTarget",
    "WorkDone",
]
