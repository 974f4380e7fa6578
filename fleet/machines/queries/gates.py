"""The gatekeepers: a row reaches a door only through one of these.

What is missing and what is not yours look alike (NotFound). With `write=True` a person who may see
the row but not change it gets NotAllowed. The whole staff sees the fleet; the desk changes it;
drivers carry out changeovers.
"""

from typing import TypeVar

from django.db.models import Model, Prefetch, QuerySet

from people.errors import NotAllowed, NotFound
from people.models import Person
from people.roles import Role

from ..models import (
    Changeover,
    ChangeoverPlan,
    ChartEntry,
    Column,
    Kind,
    Machine,
    Package,
    Position,
    Product,
    SetUp,
    Site,
)

Row = TypeVar("Row", bound=Model)
DESK = (Role.OWNER, Role.DISPATCHER)
ROAD = (*DESK, Role.DRIVER)


def kind_for(person: Person, pk: int, *, write: bool = False) -> Kind:
    rows = Kind.objects.prefetch_related("programs", "positions")
    return _gate(rows, person, pk, write=write, writers=DESK)


def position_for(person: Person, pk: int) -> Position:
    return _gate(Position.objects.select_related("kind"), person, pk, write=False, writers=())


def package_for(person: Person, pk: int, *, write: bool = False) -> Package:
    return _gate(Package.objects.all(), person, pk, write=write, writers=DESK)


def product_for(person: Person, pk: int, *, write: bool = False) -> Product:
    return _gate(Product.objects.select_related("package"), person, pk, write=write, writers=DESK)


def site_for(person: Person, pk: int, *, write: bool = False) -> Site:
    rows = Site.objects.prefetch_related("opening_windows")
    return _gate(rows, person, pk, write=write, writers=DESK)


def machine_for(person: Person, pk: int, *, write: bool = False) -> Machine:
    return _gate(Machine.objects.select_related("kind"), person, pk, write=write, writers=DESK)


def column_for(person: Person, pk: int, *, write: bool = False) -> Column:
    rows = Column.objects.select_related("machine__kind", "position__kind", "selection")
    return _gate(rows, person, pk, write=write, writers=DESK)


def set_up_for(person: Person, pk: int) -> SetUp:
    rows = SetUp.objects.select_related("column__machine", "column__position", "product__package")
    return _gate(rows, person, pk, write=False, writers=())


def chart_entry_for(person: Person, pk: int, *, write: bool = False) -> ChartEntry:
    rows = ChartEntry.objects.select_related("position__kind", "package")
    return _gate(rows, person, pk, write=write, writers=DESK)


def plan_for(person: Person, pk: int, *, write: bool = False) -> ChangeoverPlan:
    rows = ChangeoverPlan.objects.prefetch_related(
        Prefetch("changeovers", queryset=changeovers_whole())
    )
    return _gate(rows, person, pk, write=write, writers=DESK)


def changeover_for(person: Person, pk: int, *, write: bool = False) -> Changeover:
    """Drivers may carry changeovers out, so they may write; planning is the desk's by policy."""
    return _gate(changeovers_whole(), person, pk, write=write, writers=ROAD)


def changeovers_whole() -> "QuerySet[Changeover]":
    """Changeovers with all that a sheet or a list line shows, in a fixed number of queries."""
    return Changeover.objects.select_related(
        "plan",
        "column__machine__kind",
        "column__position__kind",
        "column__selection",
        "product__package",
        "program",
        "from_set_up__product__package",
        "from_set_up__program",
        "to_set_up",
        "as_left_program",
        "taken_by",
        "ended_by",
    ).prefetch_related("removed__product")


def _gate(
    rows: "QuerySet[Row]", person: Person, pk: int, *, write: bool, writers: tuple[Role, ...]
) -> Row:
    row = rows.filter(pk=pk).first() if person.has_role(*Role) else None
    if row is None:
        raise NotFound(f"there is no {rows.model._meta.verbose_name} {pk}")
    if write and not person.has_role(*writers):
        raise NotAllowed(f"{row}: you may see this and not change it")
    return row
