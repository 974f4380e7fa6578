"""Spare parts of the invented business: bought once, and carried on the trucks."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal

from demo.books import Books
from demo.business.parts import PACKAGE, PARTS, SUPPLIER, SparePart
from demo.facts import cents
from demo.standing import Standing
from fleet.inventory.actions import ledger, receipts, suppliers
from fleet.inventory.models import Movement, StockPlace
from fleet.machines.actions import holdings
from fleet.machines.models import Product
from service.tickets.actions.closing import Part

BOX_MM = {"width_mm": Decimal(120), "thickness_mm": Decimal(90), "height_mm": Decimal(60)}
PACKED = timedelta(minutes=30)


class Workshop:
    """Writes the parts into books that hold the business; keeps them by the codes of the trade."""

    def __init__(self, books: Books, standing: Standing, since: datetime) -> None:
        self._books = books
        self._standing = standing
        self._since = since
        self._parts: dict[str, Product] = {}

    def part(self, code: str, quantity: int = 1) -> Part:
        """So many of a part, as they go into a machine."""
        return Part(self._parts[code], quantity)

    def write(self) -> None:
        """What parts there are, and what lay in warehouses and on trucks at `since`."""
        desk, now = self._books.dispatcher, self._books.now
        box = holdings.save_package(
            changes={"name": PACKAGE, "shape": "carton", **BOX_MM}, actor=desk, now=now
        )
        for one in PARTS:
            changes = {
                "name": one.name,
                "package": box,
                "form": Product.Form.PART,
                "price": Decimal(0),  # not for sale
                "cost": cents(one.cost_minor),
            }
            self._parts[one.code] = holdings.save_product(changes=changes, actor=desk, now=now)
        seller = suppliers.save_supplier(changes={"name": SUPPLIER}, actor=desk, now=now)
        for code, store in self._standing.warehouses.items():
            trucks = [
                self._standing.vehicles[one.name].truck
                for one in self._books.business.vehicles
                if one.warehouse_code == code
            ]
            receipts.receive(
                supplier=seller,
                place=store,
                lines=[
                    receipts.Received(
                        product=self._parts[one.code],
                        units=one.in_store + one.on_truck * len(trucks),
                        unit_cost=cents(one.cost_minor),
                    )
                    for one in PARTS
                ],
                received_at=self._since,
                actor=desk,
                now=now,
            )
            ledger.post_all(
                postings=[self._carried(store, truck) for truck in trucks], actor=desk, now=now
            )

    def _carried(self, store: StockPlace, truck: StockPlace) -> ledger.Posting:
        def line(one: SparePart) -> ledger.Line:
            return ledger.Line(self._parts[one.code], one.on_truck, store, truck)

        reason = Movement.Reason.LOAD
        return ledger.Posting(reason, [line(one) for one in PARTS], self._since + PACKED)
