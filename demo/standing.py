"""What the invented business buys and drives with, written through the same actions as anyone's."""

from __future__ import annotations

from datetime import datetime

from demo.books import Books
from demo.facts import cents
from fleet.inventory.actions import places, suppliers
from fleet.inventory.models import StockPlace, Supplier
from service.runs.actions import keeping
from service.runs.models import Depot, DriverProfile, Vehicle

REVIEW_DAYS = 7
LEAST_LIFE_SHARE = 0.5


class Standing:
    """Suppliers, depots, vehicles, drivers and agreements, by the names the business calls them."""

    def __init__(self, books: Books, now: datetime) -> None:
        self.books = books
        self.now = now
        self.suppliers: dict[str, Supplier] = {}
        self.depots: dict[str, Depot] = {}
        self.vehicles: dict[str, Vehicle] = {}
        self.drivers: dict[str, DriverProfile] = {}
        self.warehouses: dict[str, StockPlace] = {}

    def write(self) -> None:
        self._suppliers()
        self._depots()
        self._drivers()
        for agreement in self.books.business.agreements:
            keeping.save_agreement(
                changes={
                    "machine": self.books.machines[agreement.asset_tag],
                    "every_days": agreement.every_days,
                },
                actor=self.books.dispatcher,
                now=self.now,
            )

    def _suppliers(self) -> None:
        business = self.books.business
        for supplier in business.suppliers:
            row = suppliers.save_supplier(
                changes={"name": supplier.name, "review_days": REVIEW_DAYS},
                actor=self.books.dispatcher,
                now=self.now,
            )
            self.suppliers[supplier.code] = row
            for pack in supplier.packs:
                life = business.product(pack.product_code).shelf_life_days
                suppliers.save_item(
                    supplier=row,
                    product=self.books.products[pack.product_code],
                    changes={
                        "units_per_case": pack.units_per_case,
                        "case_cost": cents(pack.case_cost_minor),
                        "lead_time_days": supplier.lead_time_days,
                        "minimum_cases": pack.minimum_cases,
                        "least_days_left": int(LEAST_LIFE_SHARE * life),
                        "preferred": True,
                    },
                    actor=self.books.dispatcher,
                    now=self.now,
                )

    def _depots(self) -> None:
        for warehouse in self.books.business.warehouses:
            site = self.books.sites[warehouse.code]
            self.depots[warehouse.code] = keeping.save_depot(
                changes={"site": site}, actor=self.books.dispatcher, now=self.now
            )
            self.warehouses[warehouse.code] = places.warehouse(site)
        for vehicle in self.books.business.vehicles:
            self.vehicles[vehicle.name] = keeping.save_vehicle(
                changes={
                    "name": vehicle.name,
                    "depot": self.depots[vehicle.warehouse_code],
                    "volume_l": vehicle.volume_l,
                    "weight_kg": vehicle.weight_kg,
                },
                actor=self.books.dispatcher,
                now=self.now,
            )

    def _drivers(self) -> None:
        for shift in self.books.business.shifts:
            vehicle = self.vehicles[shift.vehicle_name]
            self.drivers[shift.driver_email] = keeping.save_driver(
                changes={
                    "person": self.books.people[shift.driver_email],
                    "depot": vehicle.depot,
                    "vehicle": vehicle,
                },
                shifts=[
                    {"weekday": day, "starts": shift.starts, "ends": shift.ends}
                    for day in shift.weekdays
                ],
                actor=self.books.dispatcher,
                now=self.now,
            )
