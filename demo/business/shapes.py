"""What the books of a vending business hold, as plain frozen data.

Money is in integer cents, lengths in millimetres, periods run from their start up to, and not
including, their end. Nothing here knows a database: a loader turns these into rows.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, time

from fleet.compute.packages import Package
from fleet.compute.positions import Board, Position


@dataclass(frozen=True)
class Address:
    street: str
    town: str
    county: str
    state: str
    postcode: str


@dataclass(frozen=True)
class Warehouse:
    code: str
    name: str
    address: Address
    latitude: float
    longitude: float
    time_zone: str


@dataclass(frozen=True)
class Person:
    name: str
    email: str
    roles: tuple[str, ...]
    warehouse_code: str


@dataclass(frozen=True)
class OpeningWindow:
    """When a driver can reach the machine and its customers can; weekday 0 is Monday."""

    weekdays: tuple[int, ...]
    opens: time
    closes: time


@dataclass(frozen=True)
class Site:
    """`premises` is empty where no tax or food rule sets them apart."""

    code: str
    name: str
    trade: str
    address: Address
    latitude: float
    longitude: float
    time_zone: str
    windows: tuple[OpeningWindow, ...]
    warehouse_code: str
    host_name: str = ""
    host_email: str = ""
    premises: str = ""


@dataclass(frozen=True)
class Button:
    """One selection as the customer sees it, and the columns it draws on in their order."""

    code: str
    columns: tuple[str, ...]


@dataclass(frozen=True)
class Kind:
    """A make of machine as measured with a rule and a stopwatch, and as its plate says.

    Without a refrigerated volume it is not refrigerated.
    """

    name: str
    what: str
    positions: tuple[Position, ...]
    buttons: tuple[Button, ...]
    board: Board
    refrigerated_volume_l: float
    combination: bool
    front_hides_label: bool = False
    refrigerant: str = ""
    refrigerant_charge_g: float = 0.0

    def position(self, label: str) -> Position:
        for position in self.positions:
            if position.label == label:
                return position
        raise KeyError(f"{self.name} has no column {label!r}")


@dataclass(frozen=True)
class PackageSize:
    code: str
    name: str
    package: Package


@dataclass(frozen=True)
class Attributes:
    """What tax asks of a product; juice in percent by volume."""

    sweetened: bool = False
    juice_percent: int = 0
    contains_milk: bool = False
    carbonated: bool = False
    contains_flour: bool = False
    needs_refrigeration: bool = False
    form: str = "drink"
    heated: bool = False
    supplement_facts: bool = False
    water: str | None = None


@dataclass(frozen=True)
class Product:
    """`calories` are a package's, as its maker declares them; None where nobody wrote them down."""

    code: str
    name: str
    package_code: str
    gtin: str
    price_minor: int
    cost_minor: int
    shelf_life_days: int
    attributes: Attributes
    calories: int | None = None


@dataclass(frozen=True)
class Machine:
    """One cabinet where it stands. `reads` says how its counters come in: nightly or at visits."""

    asset_tag: str
    serial: str
    kind_name: str
    site_code: str
    placed_on: date
    reads: str
    payments: tuple[str, ...]
    visit_weekdays: tuple[int, ...]
    driver_email: str
    made_on: date | None = None


@dataclass(frozen=True)
class SetUp:
    """How a column is set from a day on; spirals have no notches, no depth and no program."""

    asset_tag: str
    column: str
    product_code: str
    price_minor: int
    capacity: int
    starts: date
    ends: date | None = None
    deep: int | None = None
    front_notch: int | None = None
    rear_notch: int | None = None
    program: str | None = None

    def holds_on(self, day: date) -> bool:
        return self.starts <= day and (self.ends is None or day < self.ends)


@dataclass(frozen=True)
class ChartLine:
    """Settings known to work for a package in the like positions of a kind."""

    kind_name: str
    columns: tuple[str, ...]
    package_code: str
    deep: int | None
    front_notch: int | None
    rear_notch: int | None
    program: str | None
    capacity: int


@dataclass(frozen=True)
class CasePack:
    """A product as a supplier sells it."""

    product_code: str
    units_per_case: int
    case_cost_minor: int
    minimum_cases: int


@dataclass(frozen=True)
class Supplier:
    """Who delivers: ordered from on one weekday (0 is Monday), there after its lead time."""

    code: str
    name: str
    order_weekday: int
    lead_time_days: int
    packs: tuple[CasePack, ...]


@dataclass(frozen=True)
class Vehicle:
    name: str
    warehouse_code: str
    volume_l: int
    weight_kg: int


@dataclass(frozen=True)
class Shift:
    """A driver's working days, by the clock of the warehouse the vehicle stands at."""

    driver_email: str
    vehicle_name: str
    weekdays: tuple[int, ...]
    starts: time
    ends: time


@dataclass(frozen=True)
class Agreement:
    """A host was promised that its machine is seen to at least so often."""

    asset_tag: str
    every_days: int


@dataclass(frozen=True)
class Business:
    name: str
    currency: str
    warehouses: tuple[Warehouse, ...]
    people: tuple[Person, ...]
    kinds: tuple[Kind, ...]
    packages: tuple[PackageSize, ...]
    products: tuple[Product, ...]
    sites: tuple[Site, ...]
    machines: tuple[Machine, ...]
    charts: tuple[ChartLine, ...]
    set_ups: tuple[SetUp, ...]
    suppliers: tuple[Supplier, ...]
    vehicles: tuple[Vehicle, ...]
    shifts: tuple[Shift, ...]
    agreements: tuple[Agreement, ...]

    def kind(self, name: str) -> Kind:
        return next(kind for kind in self.kinds if kind.name == name)

    def site(self, code: str) -> Site:
        return next(site for site in self.sites if site.code == code)

    def product(self, code: str) -> Product:
        return next(product for product in self.products if product.code == code)

    def warehouse(self, code: str) -> Warehouse:
        return next(warehouse for warehouse in self.warehouses if warehouse.code == code)

    def vehicle(self, name: str) -> Vehicle:
        return next(vehicle for vehicle in self.vehicles if vehicle.name == name)

    def machine(self, asset_tag: str) -> Machine:
        return next(machine for machine in self.machines if machine.asset_tag == asset_tag)

    def set_ups_of(self, asset_tag: str) -> tuple[SetUp, ...]:
        return tuple(set_up for set_up in self.set_ups if set_up.asset_tag == asset_tag)
