"""The tray as a person works it off: reads that wait alike stand together."""

from dataclasses import dataclass
from datetime import datetime

from django.db.models import Count, Max, QuerySet

from fleet.machines.models import Machine
from people.models import Person

from ..models import AuditRead
from .reads import tray

#: Reasons that a later entry in the machines' records may remove.
WITHOUT_A_MACHINE = ("unmatched", "ambiguous")
# The first reason is the one that keeps a read in the tray.
_ALIKE = ("machine", "asset_read", "serial_read", "board_serial_read", "waiting__0__code")


@dataclass(frozen=True, slots=True)
class Alike:
    """What the reads of one pile have in common; its fields are the words of an address."""

    machine: int | None = None
    asset: str = ""
    serial: str = ""
    board: str = ""
    why: str = ""


@dataclass(frozen=True, slots=True)
class Pile:
    """Reads that wait for one reason, of one machine or of what calls itself the same."""

    alike: Alike
    count: int
    latest: AuditRead
    received_at: datetime

    @property
    def machine(self) -> Machine | None:
        return self.latest.machine

    @property
    def calls_itself(self) -> str:
        """What the files say that they are of; empty when they say nothing."""
        return self.alike.asset or self.alike.serial or self.alike.board


def piles(person: Person) -> list[Pile]:
    """The whole tray in piles, that of the latest read first. Two queries."""
    rows = (
        tray(person)
        .order_by()
        .values(*_ALIKE)
        .annotate(count=Count("pk"), latest=Max("pk"), received_at=Max("received_at"))
        .order_by("-received_at", "-latest")
    )
    found = list(rows)
    latest = tray(person).in_bulk([row["latest"] for row in found])
    return [
        Pile(
            alike=Alike(
                machine=row["machine"],
                asset=row["asset_read"],
                serial=row["serial_read"],
                board=row["board_serial_read"],
                why=row["waiting__0__code"] or "",
            ),
            count=row["count"],
            latest=latest[row["latest"]],
            received_at=row["received_at"],
        )
        for row in found
        if row["latest"] in latest
    ]


def pile(person: Person, alike: Alike) -> "QuerySet[AuditRead]":
    """The reads of one pile, latest first."""
    return tray(person).filter(
        machine=alike.machine,
        asset_read=alike.asset,
        serial_read=alike.serial,
        board_serial_read=alike.board,
        waiting__0__code=alike.why,
    )
