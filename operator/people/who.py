"""Who there is to allow, and what one line of the policy says."""

from dataclasses import dataclass, field
from enum import StrEnum

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
