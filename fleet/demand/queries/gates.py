"""The gatekeepers: a row of demand reaches a door only through one of these.

The whole staff sees demand and needs; what they are worth in money only those who see money: the
desk and the accountant. The desk starts fits and keeps the rules.
"""

from typing import TypeVar

from django.db.models import Model, Prefetch, QuerySet

from people.errors import NotAllowed, NotFound
from people.models import Person
from people.roles import Role

from ..models import ColumnDemand, ColumnNeed, FitChunk, FitRun, UnusualDay

Row = TypeVar("Row", bound=Model)
DESK = (Role.OWNER, Role.DISPATCHER)
MONEY = (*DESK, Role.ACCOUNTANT)


def sees_money(person: Person) -> bool:
    """Whether what is at stake is shown to a person in money too."""
    return person.has_role(*MONEY)


def demands_whole() -> "QuerySet[ColumnDemand]":
    """Demands with the names that a list shows and what the column needs."""
    return ColumnDemand.objects.select_related(
        "column__machine", "column__position", "product", "column__need"
    )


def demand_for(person: Person, column: int) -> ColumnDemand:
    return _gate(demands_whole(), person, column, write=False)


def need_for(person: Person, column: int) -> ColumnNeed:
    rows = ColumnNeed.objects.select_related("column__machine", "product")
    return _gate(rows, person, column, write=False)


def runs_whole() -> "QuerySet[FitRun]":
    """Fit runs with their parts."""
    chunks = FitChunk.objects.select_related("warehouse").defer("pools").order_by("number", "pk")
    return FitRun.objects.select_related("asked_by").prefetch_related(
        Prefetch("chunks", queryset=chunks)
    )


def run_for(person: Person, pk: int) -> FitRun:
    return _gate(runs_whole(), person, pk, write=False)


def unusual_day_for(person: Person, pk: int, *, write: bool = False) -> UnusualDay:
    return _gate(UnusualDay.objects.select_related("site"), person, pk, write=write)


def _gate(rows: "QuerySet[Row]", person: Person, pk: int, *, write: bool) -> Row:
    row = rows.filter(pk=pk).first() if person.has_role(*Role) else None
    if row is None:
        raise NotFound(f"there is no {rows.model._meta.verbose_name} {pk}")
    if write and not person.has_role(*DESK):
        raise NotAllowed(f"{row}: you may see this and not change it")
    return row
