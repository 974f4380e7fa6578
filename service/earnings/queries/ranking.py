"""Books read by machine, site, product and driver, what earns most first."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Final, Literal

from fleet.machines.models import Machine, Product, Site
from service.compute.earnings import COSTS, OF_A_PRODUCT, Earned, shared, together

from .books import Books
from .goods import Place

By = Literal["machine", "site", "product", "driver"]
BY: Final[tuple[By, ...]] = ("machine", "site", "product", "driver")
ZERO: Final = Decimal(0)
HOUR: Final = Decimal(60)
#: What stands for the machines, products and visits that nothing names.
NAMELESS: Final[dict[By, str]] = {
    "machine": "",
    "site": "at no site by the record",
    "product": "of no product the record knows",
    "driver": "visited by nobody",
}


@dataclass(frozen=True, slots=True)
class Line:
    """One of a ranking. `key` is None for what nothing names; `besides` says where or what it is.

    Of drivers `hours` are those of their runs, of others those spent on their visits.
    """

    key: int | None
    label: str
    besides: str
    earned: Earned

    @property
    def hours(self) -> Decimal:
        return self.earned.minutes / HOUR

    @property
    def per_hour(self) -> Decimal | None:
        """Profit a driver-hour, the hour paid; None without any."""
        return self.earned.profit / self.hours if self.hours else None


def ranked(of: Books, by: By) -> list[Line]:
    """Every machine, site, product or driver with anything in the books; most profit first."""
    found = {
        "machine": _by_machine,
        "site": _by_site,
        "product": _by_product,
        "driver": _by_driver,
    }[by](of)
    named = _drivers(of) if by == "driver" else _names(by, found)
    lines = [
        Line(key, *named.get(key, (NAMELESS[by], "")), earned)
        for key, earned in found.items()
        if _says_something(earned)
    ]
    return sorted(lines, key=lambda one: (-one.earned.profit, one.label, one.key or 0))


def whole(lines: Iterable[Line]) -> Line:
    """All lines of a ranking as one. Money adds up to the cent."""
    return Line(None, "All", "", together(one.earned for one in lines))


def _says_something(earned: Earned) -> bool:
    return bool(earned.receipts or earned.units or earned.visits or any(earned.costs.values()))


def _by_machine(of: Books) -> dict[int | None, Earned]:
    found: dict[int | None, Earned] = {}
    for (machine, _), one in of.places().items():
        found[machine] = found.get(machine, Earned()) + one
    return found


def _by_site(of: Books) -> dict[int | None, Earned]:
    found: dict[int | None, Earned] = {}
    for (_, site), one in of.places().items():
        found[site] = found.get(site, Earned()) + one
    return found


def _by_product(of: Books) -> dict[int | None, Earned]:
    """A product's own, and its part of what its machines cost besides, by receipts."""
    found: dict[int | None, Earned] = {}
    at: dict[Place, list[int | None]] = defaultdict(list)
    for (place, product), one in of.own.items():
        found[product] = found.get(product, Earned()) + one
        at[place].append(product)
    for place, besides in of.of_place.items():
        products = sorted(at.get(place, [None]), key=lambda key: key or 0)
        weights = [
            max(of.own[place, one].receipts, ZERO) if (place, one) in of.own else ZERO
            for one in products
        ]
        rest = besides.only(set(COSTS) - OF_A_PRODUCT)
        for product, part in zip(products, shared(rest, weights, cent=of.rates.cent), strict=True):
            found[product] = found.get(product, Earned()) + part
    return found


def _by_driver(of: Books) -> dict[int | None, Earned]:
    """What machines earned, shared by visits over those who went there, less their own time."""
    visits: dict[int, dict[int | None, int]] = defaultdict(lambda: defaultdict(int))
    found: dict[int | None, Earned] = {}
    known, cent = of.rates, of.rates.cent
    for one in of.visits:
        visits[one.machine][one.driver] += 1
        minutes = one.own_minutes + one.way_minutes
        cost = minutes * known.per_hour / HOUR + one.km * known.per_km
        found[one.driver] = found.get(one.driver, Earned()) + Earned(
            costs={"visits": cost.quantize(cent)},
            minutes=one.minutes + one.way_minutes,
            km=one.km,
            visits=Decimal(1),
        )
    for machine, earned in _by_machine(of).items():
        assert machine is not None  # noqa: S101 - for the type checker; every place has one
        went: dict[int | None, int] = visits.get(machine) or {None: 1}
        rest = Earned(
            earned.receipts,
            earned.units,
            {name: amount for name, amount in earned.costs.items() if name != "visits"},
            earned.unknown,
        )
        drivers = sorted(went, key=lambda key: key or 0)
        parts = shared(rest, [Decimal(went[driver]) for driver in drivers], cent=cent)
        for driver, part in zip(drivers, parts, strict=True):
            found[driver] = found.get(driver, Earned()) + part
    return found


def _drivers(of: Books) -> dict[int | None, tuple[str, str]]:
    return {one.driver: (one.driver_name, "") for one in of.visits}


def _names(by: By, found: Mapping[int | None, Earned]) -> dict[int | None, tuple[str, str]]:
    keys = [key for key in found if key is not None]
    if by == "machine":
        machines = Machine.objects.filter(pk__in=keys).order_by()
        return {
            key: (tag, kind)
            for key, tag, kind in machines.values_list("pk", "asset_tag", "kind__name")
        }
    if by == "site":
        sites = Site.objects.filter(pk__in=keys).order_by()
        return {key: (name, city) for key, name, city in sites.values_list("pk", "name", "city")}
    products = Product.objects.filter(pk__in=keys).order_by()
    return {
        key: (name, package)
        for key, name, package in products.values_list("pk", "name", "package__name")
    }
