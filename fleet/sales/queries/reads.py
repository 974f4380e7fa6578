"""Reads: the tray, those of a machine, and what one says in full."""

from django.db.models import QuerySet

from fleet.compute.audit.reader import read_report
from fleet.compute.audit.report import Report
from fleet.machines.models import Machine
from people.models import Person

from ..models import AuditRead
from .gates import reads_seen_by


def tray(person: Person) -> "QuerySet[AuditRead]":
    """Reads that wait for a person, latest first."""
    waiting = reads_seen_by(person).filter(state=AuditRead.State.WAITING)
    return waiting.order_by("-received_at", "-pk")


def reads_of(machine: Machine, person: Person) -> "QuerySet[AuditRead]":
    """Reads of one machine, latest received first, whatever became of them."""
    return reads_seen_by(person).filter(machine=machine).order_by("-received_at", "-pk")


def in_their_places(machine: Machine, person: Person) -> "QuerySet[AuditRead]":
    """Accepted reads of one machine as they were taken, latest first."""
    placed = reads_seen_by(person).filter(machine=machine, place__isnull=False)
    return placed.order_by("-place")


def report_of(read: AuditRead) -> Report:
    """The whole report, read again from the bytes that were kept. Passwords are withheld in it."""
    return read_report(bytes(read.raw))
