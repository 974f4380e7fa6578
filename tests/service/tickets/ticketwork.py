"""A machine at a site, spare parts on a truck, and people who report and mend."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest

from fleet.inventory.actions import ledger, places
from fleet.inventory.models import StockLevel, StockPlace
from fleet.machines.models import Column, Machine, Product
from people.models import AuditEntry, Person
from service.tickets.actions import closing, moves, reporting
from service.tickets.models import Cause, Symptom, Ticket, WorkDone
from tests.cast import NOW
from tests.world import World


def clock(hour: int, minute: int = 0, *, days: int = 0) -> datetime:
    """A moment of that Monday in New York, which is five hours behind UTC, or of a day after."""
    return datetime(2026, 3, 2, hour + 5, minute, tzinfo=UTC) + timedelta(days=days)


@dataclass
class TicketWork:
    """The rows of a small service desk, and acts told in one line."""

    world: World
    owner: Person
    dispatcher: Person
    driver: Person
    machine: Machine
    sensor: Product
    belt: Product
    truck: StockPlace

    def symptom(self, code: str = "sold_out_full") -> Symptom:
        return Symptom.objects.get(code=code)

    def cause(self, code: str = "drop_sensor") -> Cause:
        return Cause.objects.get(code=code)

    def column(self, label: str = "1") -> Column:
        return self.world.column(self.machine, label)

    def reported(self, code: str = "sold_out_full", **more: Any) -> reporting.Reported:
        given: dict[str, Any] = {
            "machine": self.machine,
            "symptom": self.symptom(code),
            "source": Ticket.Source.DESK,
            "actor": self.dispatcher,
            "now": clock(9),
        }
        return reporting.report(**(given | more))

    def ticket(self, code: str = "sold_out_full", **more: Any) -> Ticket:
        return self.reported(code, **more).ticket

    def given(self, **more: Any) -> Ticket:
        """A ticket that is given to the driver."""
        return moves.give(
            ticket=self.ticket(**more), to=self.driver, actor=self.dispatcher, now=clock(9, 5)
        )

    def close(self, ticket: Ticket, **more: Any) -> WorkDone:
        given: dict[str, Any] = {
            "ticket": ticket,
            "cause": self.cause(),
            "work": "cleaned it",
            "minutes": 30,
            "actor": self.driver,
            "now": clock(11),
        }
        return closing.close(**(given | more))

    def closed(self, *, at: datetime | None = None, **more: Any) -> Ticket:
        """A ticket that was closed by the driver two hours after the report."""
        when = at or clock(11)
        ticket = self.given(now=when - timedelta(hours=2), **more)
        self.close(ticket, now=when)
        return self.fresh(ticket)

    def fresh(self, ticket: Ticket) -> Ticket:
        return Ticket.objects.select_related(
            "machine", "site", "symptom", "given_to", "owner", "joined_to", "reopens"
        ).get(pk=ticket.pk)

    def held(self, product: Product) -> int:
        levels = StockLevel.objects.filter(place=self.truck, product=product)
        return sum(levels.values_list("quantity", flat=True))

    def audited(self, row: Any) -> list[str]:
        """The verbs of the audit trail of a row, in order."""
        return list(
            AuditEntry.objects.filter(object_type=row._meta.label, object_id=row.pk)
            .order_by("pk")
            .values_list("verb", flat=True)
        )

    def verbs(self, ticket: Ticket) -> list[str]:
        """The timeline of a ticket, in the order of its records."""
        return list(ticket.events.order_by("pk").values_list("verb", flat=True))


@pytest.fixture
def tickets(lobby: Machine, world: World, dispatcher: Person, driver: Person) -> TicketWork:
    """The lobby's machine, and a truck with 5 drop sensors and 2 belts."""
    bag = world.package("parts bag", "bag")
    parts = {"form": "part", "price": Decimal(0), "picture": ""}
    sensor = world.product("Drop sensor", bag, **(parts | {"cost": Decimal("18.40")}))
    belt = world.product("Note belt", bag, **(parts | {"cost": None}))
    truck = places.truck("Van of parts")
    unexplained = places.the("unexplained")
    ledger.post(
        reason="opening",
        lines=[
            ledger.Line(sensor, 5, unexplained, truck, None),
            ledger.Line(belt, 2, unexplained, truck, None),
        ],
        actor=world.owner,
        happened_at=NOW - timedelta(days=1),
        now=NOW - timedelta(days=1),
    )
    return TicketWork(world, world.owner, dispatcher, driver, lobby, sensor, belt, truck)
