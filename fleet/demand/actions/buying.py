"""What to order from a supplier for a warehouse: the demand of the machines it serves against what
it holds and has on order.

An order is thought about every `review_days` and comes after the lead time, so what is held and on
order must last for both. With a cost a line the rule is (s, S), without one a base stock; the
figures it stands on are kept with the order (see fleet.compute.restock.policy and reorder).
"""

import math
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from typing import Any, Final

import numpy as np
from django.db.models import Q, Sum
from numpy.typing import NDArray

from fleet.compute.demand import exposures, moment_number, predictive
from fleet.compute.demand.calendar import day_number
from fleet.compute.restock.distributions import total
from fleet.compute.restock.policy import critical_ratio, newsvendor, order_up_to
from fleet.compute.restock.reorder import reorder_rule
from fleet.compute.results import Reason
from fleet.inventory.actions import orders
from fleet.inventory.models import PurchaseOrder, StockLevel, StockPlace, Supplier, SupplierItem
from fleet.inventory.queries.orders import on_order
from people.errors import Unacceptable
from people.models import Business, Person

from ..calendars import calendar_for
from ..columns import Columns, columns_of, demand_of
from ..regions import parts

Floats = NDArray[np.float64]

HELD_PART_A_YEAR: Final = 0.25
"""What a unit held for a year costs, as a part of its cost: money tied up, room, handling. A fifth
to a third by common practice; no published source."""
YEAR_DAYS: Final = 365
SEASON: Final = timedelta(days=200)
"""How far back unusual days are looked up, so that the weeks before them are told as they were."""
FEW_UNITS: Final = 60
"""Above so many units a period the (s, S) rule is searched in whole cases, which are ordered
anyway."""


@dataclass(frozen=True)
class Suggestion:
    """How many cases of a product to order, and why. Units unless a name says otherwise.

    `mean` and `spread` (one standard deviation) are of the demand over lead time and review;
    `reorder_at` and `up_to` are s and S. Costs are in minor units of money, of one unit over one
    review.
    """

    product: int
    product_name: str
    rule: str
    columns: int
    lead_time_days: int
    review_days: int
    mean: float
    spread: float
    reorder_at: int
    up_to: int
    on_hand: int
    on_trucks: int
    on_order: int
    left_cost_minor: float
    short_cost_minor: float
    chance_enough: float
    units_per_case: int
    minimum_cases: int
    cases: int
    units: int
    reasons: tuple[Reason, ...]

    @property
    def position(self) -> int:
        """Held and on order."""
        return self.on_hand + self.on_trucks + self.on_order

    def as_json(self) -> dict[str, Any]:
        """As an order line keeps it."""
        found = asdict(self) | {"position": self.position}
        found["mean"], found["spread"] = round(self.mean, 1), round(self.spread, 1)
        found["chance_enough"] = round(self.chance_enough, 4)
        for name in ("left_cost_minor", "short_cost_minor"):
            found[name] = round(found[name], 3)
        found["reasons"] = [{"code": one.code, "text": one.text} for one in self.reasons]
        return found


def suggest(*, supplier: Supplier, place: StockPlace, now: datetime) -> list[Suggestion]:
    """What to order of each product that the supplier is the one to buy from, by name.

    Changes nothing. Raises Unacceptable unless `place` is a warehouse.
    """
    if place.kind != StockPlace.Kind.WAREHOUSE:
        message = f"{place} is no warehouse"
        raise Unacceptable(message, fields={"place": message})
    items = _items(supplier)
    columns = _columns_of(place, [item.product_id for item in items])
    leads = {item.lead_time_days for item in items}
    demand = _Demand(columns, now=now, days=max(leads, default=0) + supplier.review_days)
    held = _Held(place, now)
    return [_suggestion(item, demand, held) for item in items]


def draft_suggested(
    *, supplier: Supplier, place: StockPlace, actor: Person, now: datetime
) -> PurchaseOrder:
    """Draft an order of all that is suggested. Raises Unacceptable when nothing is."""
    wanted = [one for one in suggest(supplier=supplier, place=place, now=now) if one.cases]
    if not wanted:
        raise Unacceptable(
            f"nothing is to be ordered from {supplier} for {place} now", code="nothing_to_order"
        )
    products = {item.product_id: item.product for item in _items(supplier)}
    return orders.draft(
        supplier=supplier,
        place=place,
        lines=[orders.Wanted(products[one.product], one.cases, one.as_json()) for one in wanted],
        actor=actor,
        now=now,
    )


def _items(supplier: Supplier) -> list[SupplierItem]:
    """What is bought from this supplier: preferred, or sold by nobody who is."""
    elsewhere = SupplierItem.objects.filter(preferred=True).exclude(supplier=supplier)
    rows = supplier.items.select_related("product", "supplier").exclude(
        product__in=elsewhere.values("product")
    )
    return list(rows.order_by("product__name", "pk"))


def _columns_of(place: StockPlace, products: list[int]) -> Columns:
    """The columns of the machines that the warehouse serves, of these products.

    It serves those that stand nearest to it; machines that stand nowhere known are served by the
    first warehouse.
    """
    first = StockPlace.objects.filter(kind=StockPlace.Kind.WAREHOUSE, active=True).order_by("pk")
    is_first = first.values_list("pk", flat=True).first() == place.pk
    machines = [
        machine
        for part in parts()
        if part.warehouse == place.site or (part.warehouse is None and is_first)
        for machine in part.machines
    ]
    columns = columns_of(machines)
    return columns.where(np.flatnonzero(np.isin(columns.products, products)))


class _Demand:
    """What the columns will be asked for, by product and between two days from now."""

    def __init__(self, columns: Columns, *, now: datetime, days: int) -> None:
        self.columns = columns
        if not len(columns):
            return
        local = now.astimezone(Business.the().time_zone)
        today = local.date()
        self._fitted = demand_of(columns).fitted
        calendar = calendar_for(
            columns.machines,
            since=today - SEASON,
            until=today + timedelta(days=days + 1),
        )
        by_day = exposures(self._fitted, calendar, day_number(today), days)
        # Of today only what is left of it.
        by_day[:, 0] *= day_number(today) + 1 - moment_number(local)
        self._until = np.pad(np.cumsum(by_day, axis=1), ((0, 0), (1, 0)))

    def of(self, product: int) -> NDArray[np.int64]:
        """The places of a product's columns."""
        return np.flatnonzero(self.columns.products == product)

    def between(self, places: NDArray[np.int64], first: int, last: int) -> Floats:
        """Chances (U,) of what is asked of all of them from the end of a day to that of another."""
        exposure = self._until[:, last] - self._until[:, first]
        fitted = self._fitted.where(places)
        return total(predictive(fitted, exposure[places]))


class _Held:
    """What is held and on order, by product."""

    def __init__(self, place: StockPlace, now: datetime) -> None:
        today = now.astimezone(Business.the().time_zone).date()
        # What is out of date will never be filled.
        keeps = Q(lot__best_before__isnull=True) | Q(lot__best_before__gte=today)
        levels = StockLevel.objects.filter(keeps, quantity__gt=0).order_by()
        self.here = _sums(levels.filter(place=place))
        others = StockPlace.objects.filter(kind=StockPlace.Kind.WAREHOUSE, active=True)
        alone = not others.exclude(pk=place.pk).exists()
        # Nobody says which of several warehouses a truck belongs to.
        trucks = levels.filter(place__kind=StockPlace.Kind.TRUCK)
        self.on_trucks = _sums(trucks) if alone else {}
        self.on_order = on_order(place)


def _sums(levels: Any) -> dict[int, int]:
    return dict(levels.values_list("product").annotate(units=Sum("quantity")))


def _suggestion(item: SupplierItem, demand: _Demand, held: _Held) -> Suggestion:
    pk, lead, review = item.product_id, item.lead_time_days, item.supplier.review_days
    places = demand.of(pk)
    here, trucks = held.here.get(pk, 0), held.on_trucks.get(pk, 0)
    coming = held.on_order.get(pk, 0)
    found: dict[str, Any] = {
        "product": pk,
        "product_name": item.product.name,
        "columns": len(places),
        "lead_time_days": lead,
        "review_days": review,
        "on_hand": here,
        "on_trucks": trucks,
        "on_order": coming,
        "units_per_case": item.units_per_case,
        "minimum_cases": item.minimum_cases,
    }
    asked = demand.between(places, 0, lead + review) if len(places) else np.ones(1)
    units = np.arange(asked.size)
    mean = float(asked @ units)
    if mean < 1e-6:
        why = "No column of the machines served from here sells it."
        no_demand = (Reason("no_demand", why, {"columns": len(places)}),)
        nothing: dict[str, Any] = {"mean": 0.0, "spread": 0.0, "reorder_at": -1, "up_to": 0}
        costs: dict[str, Any] = {
            "left_cost_minor": 0.0,
            "short_cost_minor": 0.0,
            "chance_enough": 1.0,
        }
        return Suggestion(
            rule="none", cases=0, units=0, reasons=no_demand, **found, **nothing, **costs
        )
    spread = math.sqrt(max(float(asked @ units**2) - mean**2, 0.0))
    left, short = _costs(item, demand.columns, places)
    line_cost = float(item.supplier.line_cost) * 10.0 ** Business.the().currency_exponent
    reorder_at, up_to, told = _levels(
        demand.between(places, lead, lead + review),
        asked,
        left=left,
        short=short,
        line_cost=line_cost,
        units_per_case=item.units_per_case,
    )
    reasons = (
        Reason(
            "demand",
            f"{len(places)} columns are expected to sell {mean:.0f} in the {lead} days until an "
            f"order comes and the {review} until the next is thought about, give or take "
            f"{spread:.0f}.",
            {"mean": mean, "spread": spread, "columns": len(places)},
        ),
        *told,
    )
    reorder_at, up_to, kept = _within_shelf_life(item, mean, lead + review, reorder_at, up_to)
    order = order_up_to(
        here + trucks + coming,
        reorder_at=reorder_at,
        up_to=up_to,
        units_per_case=item.units_per_case,
        minimum_cases=item.minimum_cases,
    )
    return Suggestion(
        rule="s_S" if line_cost else "base_stock",
        mean=mean,
        spread=spread,
        reorder_at=reorder_at,
        up_to=up_to,
        left_cost_minor=left,
        short_cost_minor=short,
        chance_enough=min(float(asked[: up_to + 1].sum()), 1.0),
        cases=order.cases,
        units=order.units,
        reasons=(*reasons, *kept, *order.reasons),
        **found,
    )


def _costs(item: SupplierItem, columns: Columns, places: NDArray[np.int64]) -> tuple[float, float]:
    """What a unit left over a review and a unit short cost, in minor units."""
    minor = 10.0 ** Business.the().currency_exponent
    cost = float(item.unit_cost) * minor
    left = max(cost, 1.0) * HELD_PART_A_YEAR * item.supplier.review_days / YEAR_DAYS
    margin = float(columns.price_minor[places].mean()) - cost
    # Sold below cost it is still to be had: an empty column drives customers away.
    return left, max(margin, left)


def _levels(
    period: Floats,
    asked: Floats,
    *,
    left: float,
    short: float,
    line_cost: float,
    units_per_case: int,
) -> tuple[int, int, tuple[Reason, ...]]:
    """s and S in units, with their reasons. Without a cost a line S is the base stock."""
    if not line_cost:
        best = newsvendor(left, short, asked)
        return int(best.level) - 1, int(best.level), best.reasons[:1]
    many = float(period @ np.arange(period.size)) > FEW_UNITS
    size = units_per_case if many else 1
    rule = reorder_rule(
        left * size,
        short * size,
        line_cost,
        _by(period, size),
        until_arrival=_by(asked, size),
    )
    reorder_at, up_to = (rule.reorder_at + 1) * size - 1, rule.up_to * size
    text = (
        f"At {reorder_at} or less, order up to {up_to}: a line costs {line_cost:g}, a unit left "
        f"{left:.2f} and a unit short {short:.2f} (chance {critical_ratio(left, short):.1%}); an "
        f"order about every {rule.periods_between_orders:.1f} reviews."
    )
    values = {"reorder_at": reorder_at, "up_to": up_to, "line_cost_minor": line_cost}
    return reorder_at, up_to, (Reason("reorder_rule", text, {**values}),)


def _by(pmf: Floats, size: int) -> Floats:
    """The chances of so many lots of `size`, with the same mean: a part lot is shared out."""
    if size == 1:
        return pmf
    whole, part = np.divmod(np.arange(pmf.size), size)
    found = np.zeros(int(whole[-1]) + 2)
    np.add.at(found, whole, pmf * (1 - part / size))
    np.add.at(found, whole + 1, pmf * (part / size))
    return found


def _within_shelf_life(
    item: SupplierItem, mean: float, days: int, reorder_at: int, up_to: int
) -> tuple[int, int, tuple[Reason, ...]]:
    """No more than is expected to sell while it keeps."""
    keeps = item.product.shelf_life_days
    if not keeps:
        return reorder_at, up_to, ()
    sold = int(mean / days * keeps)
    if up_to <= sold:
        return reorder_at, up_to, ()
    most = max(sold, 1)
    text = f"It keeps {keeps} days, in which {sold} are expected to sell: no more than {most}."
    values = {"shelf_life_days": keeps, "sold": sold, "up_to": up_to}
    return min(reorder_at, most - 1), most, (Reason("shelf_life", text, {**values}),)
