"""Who may do what, through which door: the one table, deny by default.

A row says what can be done in plain words, who may, and the doors that do it: "METHOD namespace:route".
A route and method that no row names is refused for everybody, and a test walks every address of the
service to prove that none was forgotten. HEAD counts as GET.
"""

from dataclasses import dataclass, field
from enum import StrEnum

from .models import Person
from .roles import Role


class Anyone(StrEnum):
    """Who may come in besides the holders of roles."""

    PUBLIC = "anybody, signed in or not"
    SIGNED_IN = "anybody who works here, whatever the role"


OWNER = frozenset({Role.OWNER})
DESK = frozenset({Role.OWNER, Role.DISPATCHER})
ROAD = frozenset({Role.OWNER, Role.DISPATCHER, Role.DRIVER})
STAFF = frozenset(Role)
MONEY = frozenset({Role.OWNER, Role.ACCOUNTANT})
READS = frozenset({Role.OWNER, Role.DISPATCHER, Role.ACCOUNTANT})


@dataclass(frozen=True)
class Row:
    """One line of the table."""

    can: str
    who: frozenset[Role] | Anyone
    doors: tuple[str, ...] = field(default=())


TABLE: tuple[Row, ...] = (
    Row("ask whether the service is well", Anyone.PUBLIC, ("GET healthz", "GET readyz")),
    # The API
    Row("read what the API offers", Anyone.PUBLIC, ("GET api:openapi", "GET api:docs")),
)


def _index(table: tuple[Row, ...]) -> dict[str, Row]:
    found: dict[str, Row] = {}
    for row in table:
        for door in row.doors:
            if door in found:
                raise ValueError(f"{door} stands in two rows: {found[door].can!r} and {row.can!r}")
            found[door] = row
    return found


BY_DOOR = _index(TABLE)
BY_NAME = {row.can: row for row in TABLE}


def row_for(method: str, route: str) -> Row | None:
    """The row that governs a door, or None when nobody may pass."""
    return BY_DOOR.get(f"{'GET' if method == 'HEAD' else method} {route}")


def allows(person: object, row: Row | None) -> bool:
    """Whether a person (or an anonymous visitor) may pass where `row` governs."""
    if row is None:
        return False
    if row.who is Anyone.PUBLIC:
        return True
    if not isinstance(person, Person) or not person.is_active:
        return False
    return row.who is Anyone.SIGNED_IN or person.has_role(*row.who)


def may(person: object, can: str) -> bool:
    """Whether a person may do what a row names. Raises KeyError for words that no row uses."""
    return allows(person, BY_NAME[can])
