"""A warehouse, a supplier who sells two products, and orders and deliveries of them."""

from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from fleet.inventory.actions import orders, places, receipts, suppliers
from fleet.inventory.models import PurchaseOrder, Receipt, StockLevel, StockPlace, Supplier
from fleet.machines.models import Product
from tests.world import World


@dataclass
class Shop:
    """Rows by plain names; a case holds 24 cans at 12.00 or 12 bottles at 9.60."""

    world: World
    number: int = 0
    cola: Product = field(init=False)
    tea: Product = field(init=False)
    supplier: Supplier = field(init=False)
    warehouse: StockPlace = field(init=False)

    def __post_init__(self) -> None:
        world, more = self.world, f" {self.number}" if self.number else ""
        self.cola = world.product("Cola", world.can(f"can, 12 fl oz{more}"))
        self.tea = world.product("Tea", world.bottle(f"bottle, 20 fl oz{more}"), cost=None)
        yard = world.site(f"Mill yard{more}", purpose="warehouse")
        self.warehouse = places.warehouse(yard)
        self.supplier = suppliers.save_supplier(
            changes={"name": f"Northway Beverages{more}"}, actor=world.owner, now=world.now
        )
        self.sells(self.cola, units_per_case=24, case_cost=Decimal("12.00"), lead_time_days=2)
        self.sells(self.tea, units_per_case=12, case_cost=Decimal("9.60"), lead_time_days=4)

    def sells(self, product: Product, **changes: Any) -> None:
        suppliers.save_item(
            supplier=self.supplier,
            product=product,
            changes={"preferred": True} | changes,
            actor=self.world.owner,
            now=self.world.now,
        )

    def ordered(self, cola: int = 0, tea: int = 0) -> PurchaseOrder:
        """A placed order of so many cases."""
        wanted = [
            orders.Wanted(product, cases)
            for product, cases in ((self.cola, cola), (self.tea, tea))
            if cases
        ]
        order = orders.draft(
            supplier=self.supplier,
            place=self.warehouse,
            lines=wanted,
            actor=self.world.owner,
            now=self.world.now,
        )
        return orders.place(order=order, actor=self.world.owner, now=self.world.now)

    def receives(self, *lines: receipts.Received, **more: Any) -> Receipt:
        given: dict[str, Any] = {
            "place": self.warehouse,
            "received_at": self.world.now,
            "actor": self.world.owner,
            "now": self.world.now,
        }
        if "order" not in more:
            given["supplier"] = self.supplier
        return receipts.receive(lines=lines, **(given | more))

    def came(self, product: Product, units: int, **more: Any) -> receipts.Received:
        given = {"best_before": self.day(90)} | more
        return receipts.Received(product=product, units=units, **given)

    def day(self, days: int) -> date:
        return (self.world.now + timedelta(days=days)).date()

    def later(self, days: int) -> datetime:
        return self.world.now + timedelta(days=days)

    def held(self, product: Product) -> int:
        return sum(
            StockLevel.objects.filter(place=self.warehouse, product=product).values_list(
                "quantity", flat=True
            )
        )
