"""The gatekeepers: a finding, a look or a rule reaches a door only through one of these.

The desk and the accountant see what the watch suspects: some of it is about money and people. The
desk acts on it. Drivers meet it as tickets.
"""

from typing import TypeVar

from django.db.models import Model, QuerySet

from people.errors import NotAllowed, NotFound
from people.models import Person
from people.roles import Role

from ..models import Finding, Look, WatchRule

Row = TypeVar("Row", bound=Model)
DESK = (Role.OWNER, Role.DISPATCHER)
READS = (*DESK, Role.ACCOUNTANT)


def sees_findings(person: Person) -> bool:
    return person.has_role(*READS)


def findings_whole() -> "QuerySet[Finding]":
    """Findings with the names that a list shows."""
    return Finding.objects.select_related(
        "machine",
        "column__machine",
        "column__position",
        "product",
        "ticket",
        "dismissed_by",
        "verdict__cause",
    )


def finding_for(person: Person, pk: int, *, write: bool = False) -> Finding:
    return _gate(findings_whole(), person, pk, write=write)


def looks_whole() -> "QuerySet[Look]":
    return Look.objects.select_related("asked_by")


def look_for(person: Person, pk: int) -> Look:
    return _gate(looks_whole(), person, pk, write=False)


def rule_for(person: Person, pk: int, *, write: bool = False) -> WatchRule:
    return _gate(WatchRule.objects.select_related("symptom"), person, pk, write=write)


def _gate(rows: "QuerySet[Row]", person: Person, pk: int, *, write: bool) -> Row:
    row = rows.filter(pk=pk).first() if sees_findings(person) else None
    if row is None:
        raise NotFound(f"there is no {rows.model._meta.verbose_name} {pk}")
    if write and not person.has_role(*DESK):
        raise NotAllowed(f"{row}: you may see this and not change it")
    return row
