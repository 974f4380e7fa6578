"""Lists cost the same number of queries however long they are, and the number is committed.

To accept another number, change `tests/query_counts.json` and say why in the commit.
"""

import json
from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from fleet.demand.actions.rules import mark_day
from fleet.demand.models import ColumnDemand
from fleet.inventory.actions import stocktakes
from fleet.inventory.models import PurchaseOrder
from fleet.machines.models import Column, Machine, Product
from fleet.sales.actions.receive import ReceivedFile, receive
from people.models import Person
from service.tickets.actions import reporting
from service.tickets.models import Refund, Symptom, Ticket
from tests.callers import Caller
from tests.fleet.demand.sellers import fit_all
from tests.fleet.inventory.shop import Shop
from tests.fleet.sales.meter import Meter
from tests.world import World

COMMITTED = Path(__file__).resolve().parents[1] / "query_counts.json"
SMALL, LARGE = 2, 9

ADDRESSES: dict[str, Callable[[], str]] = {
    "/audit-entries": lambda: "/audit-entries",
    "/changeover-plans": lambda: "/changeover-plans",
    "/changeovers": lambda: "/changeovers",
    "/chart-entries": lambda: "/chart-entries",
    "/column-demands": lambda: "/column-demands",
    "/column-demands/{id}/ahead": lambda: (
        f"/column-demands/{ColumnDemand.objects.order_by('pk')[0].pk}/ahead"
    ),
    "/columns/{id}/what-fits": lambda: f"/columns/{Column.objects.order_by('pk')[0].pk}/what-fits",
    "/event-meanings": lambda: "/event-meanings",
    "/event-occurrences": lambda: "/event-occurrences",
    "/events": lambda: "/events",
    "/fit-runs": lambda: "/fit-runs",
    "/kinds": lambda: "/kinds",
    "/kinds/{id}": lambda: f"/kinds/{Machine.objects.order_by('pk')[0].kind_id}",
    "/machine-intervals": lambda: "/machine-intervals",
    "/machine-needs/{id}": lambda: f"/machine-needs/{Machine.objects.order_by('pk')[0].pk}",
    "/machines": lambda: "/machines",
    "/machines/{id}": lambda: f"/machines/{Machine.objects.order_by('pk')[0].pk}",
    "/machines/{id}/columns": lambda: f"/machines/{Machine.objects.order_by('pk')[0].pk}/columns",
    "/costs": lambda: "/costs",
    "/dated-stock": lambda: "/dated-stock",
    "/orders": lambda: "/orders",
    "/orders/{id}": lambda: f"/orders/{PurchaseOrder.objects.order_by('pk')[0].pk}",
    "/packages": lambda: "/packages",
    "/people": lambda: "/people",
    "/products": lambda: "/products",
    "/products/{id}/where-fits": lambda: (
        f"/products/{Product.objects.order_by('pk')[0].pk}/where-fits"
    ),
    "/reads": lambda: "/reads",
    "/receipts": lambda: "/receipts",
    "/sale-intervals": lambda: "/sale-intervals",
    "/sales-totals": lambda: (
        "/sales-totals?period=week&by=product&since=2020-01-01T00:00:00Z&until=2100-01-01T00:00:00Z"
    ),
    "/set-ups": lambda: "/set-ups",
    "/sites": lambda: "/sites",
    "/stock-counts": lambda: "/stock-counts",
    "/stock-levels": lambda: "/stock-levels",
    "/stock-movements": lambda: "/stock-movements",
    "/stock-places": lambda: "/stock-places",
    "/supplier-items": lambda: "/supplier-items",
    "/suppliers": lambda: "/suppliers",
    "/refunds": lambda: "/refunds",
    "/road/tickets": lambda: "/road/tickets",
    "/tickets": lambda: "/tickets",
    "/tickets/{id}": lambda: f"/tickets/{Ticket.objects.order_by('pk')[0].pk}",
    "/tokens": lambda: "/tokens",
    "/unusual-days": lambda: "/unusual-days",
}


def grow(world: World, owner: Person, start: int, until: int) -> None:
    """So many machines, each of a new kind and at a new site, with all that hangs on them."""
    for number in range(start, until):
        kind = world.kind(f"kind {number}")
        machine = world.machine(f"M-{number}", kind, site=world.site(f"site {number}"))
        package = world.can(f"can {number}")
        cola = world.product(f"Cola {number}", package)
        lemon = world.product(f"Lemon {number}", package)
        stop = kind.programs.get(name="stop")
        for label in ("1", "2"):
            column = world.column(machine, label)
            world.set_up(column, cola, deep=2, front_setting=20, program=stop)
            world.planned(column, lemon)
        position = world.column(machine, "3").position
        package.chart.create(position=position, source="label", deep=1, front_setting=3)
        _sell(machine, owner)
        _buy(world, number, cola)
        _break(machine, owner)
        mark_day(day=date(2026, 5, 1 + number), part=Decimal(0), actor=owner, now=world.now)
    fit_all(owner, timezone.now())


def _break(machine: Machine, owner: Person) -> None:
    wanted = reporting.Wanted(Decimal("1.75"), Refund.Method.CASH)
    reporting.report(
        machine=machine,
        symptom=Symptom.objects.get(code="coins"),
        source="host",
        refund=wanted,
        actor=owner,
        now=timezone.now(),
    )


def _buy(world: World, number: int, product: Product) -> None:
    shop = Shop(world, number=number)
    shop.sells(product, units_per_case=24, case_cost=Decimal("9.60"))
    order = shop.ordered(cola=2)
    shop.receives(shop.came(shop.cola, 24), shop.came(shop.cola, 12, code="K7"), order=order)
    place = shop.warehouse
    found = [stocktakes.Found(product=shop.cola, counted=30)]
    stocktakes.take_stock(
        place=place, found=found, counted_at=world.now, actor=world.owner, now=world.now
    )


def _sell(machine: Machine, owner: Person) -> None:
    tag = machine.asset_tag
    meter = Meter.with_buttons("1", "2", asset=tag, serial=f"S{tag}", board=f"B{tag}")
    meter.events = ["EA2*EJB_12*1*3**1", "EA1*EJB_12*20260313*193011*0"]
    begin = (timezone.now() - timedelta(days=9)).replace(tzinfo=None)
    files = [
        meter.sell("1", cash=2).sell("2", cash=1).read(begin + timedelta(days=day))
        for day in range(3)
    ]
    receive(
        files=[ReceivedFile("", data) for data in files],
        source="api",
        actor=owner,
        now=timezone.now(),
    )


def counts(caller: Caller) -> dict[str, int]:
    found = {}
    for name, address in ADDRESSES.items():
        path = address()
        assert caller.get(path).status_code == 200, path
        with CaptureQueriesContext(connection) as queries:
            answer = caller.get(path)
        body = answer.json()
        assert body.get("items", True) if isinstance(body, dict) else body, f"{path} is empty"
        found[name] = len(queries)
    return found


@pytest.mark.django_db
def test_lists_cost_the_same_however_long(world: World, owner: Person, as_owner: Caller) -> None:
    grow(world, owner, 0, SMALL)
    small = counts(as_owner)
    grow(world, owner, SMALL, LARGE)
    large = counts(as_owner)
    assert large == small
    committed = json.loads(COMMITTED.read_text())
    assert small == {name: committed[name] for name in ADDRESSES}
