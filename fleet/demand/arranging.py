"""A machine as the swap computation sees it: columns, products that could lie in them, demand."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Final

import numpy as np

from fleet.compute.demand import ColumnModel, Fitted
from fleet.compute.restock.arrangements import EMPTY, Arrangement, Products
from fleet.compute.restock.arrangements import Machine as Cabinet
from fleet.compute.results import Fit, Verdict
from fleet.compute.units import BadMeasure
from fleet.machines.models import Changeover, Column, Machine, Product, SetUp
from fleet.machines.queries.fits import Bench
from fleet.machines.queries.fleet import columns_of as columns_in_order
from people.models import Business

from .columns import UNKNOWN_MARGIN, columns_of, demand_of
from .gaps import usual_gaps
from .models import DemandRules
from .pools import Pools

#: Products from outside the machine that are weighed, those first that are taken to earn most.
MOST_CANDIDATES: Final = 40
#: Changes suggested in one go: what one visit can do beside its filling.
MOST_CHANGES: Final = 4
FITTING: Final = frozenset({Verdict.FITS, Verdict.FITS_WITH_CAUTION})
WEEK: Final = 7


@dataclass(frozen=True)
class Arranged:
    """A machine's columns in order, the products weighed for them, and the computation's view.

    `own` and `pooled` count products whose demand the machine's own sales tell, and those that
    are taken from the pool of like products and machines.
    """

    machine: Machine
    columns: tuple[Column, ...]
    products: tuple[Product, ...]
    cabinet: Cabinet
    own: frozenset[int]
    busy: frozenset[int]
    left_aside: int
    gap_days: int
    _bench: Bench

    def fit(self, column: Column, product: Product) -> Fit | None:
        return fit_or_none(self._bench, column, product)

    def place_of(self, product: Product) -> int:
        """A product's place among those weighed. Raises ValueError."""
        return [one.pk for one in self.products].index(product.pk)


def arranged(machine: Machine, *, now: datetime, besides: Sequence[Product] = ()) -> Arranged:
    """All that the questions about one machine need; `besides` are weighed whatever they earn.

    A product's own sales here are believed as far as they go; another's come from its pool, and
    are the less certain. Products that fit no column are left out, and of the others the
    MOST_CANDIDATES that are taken to earn most.
    """
    columns = tuple(columns_in_order(machine))
    bench = Bench.for_columns(columns)
    set_ups = {column.pk: _now(column) for column in columns}
    held = {one.product_id for one in set_ups.values() if one is not None}
    wanted = held | {product.pk for product in besides}
    rules, business = DemandRules.the(), Business.the()
    minor = 10**business.currency_exponent
    models = _models(machine, Pools.for_machines([machine.pk]))
    every = [
        product
        for product in Product.objects.select_related("package").order_by("name", "pk")
        if product.pk in wanted or (product.sold and _fits_somewhere(bench, columns, product))
    ]
    rates = {product.pk: models.of(product.pk) for product in every}
    others = sorted(
        (product for product in every if product.pk not in wanted),
        key=lambda one: (-rates[one.pk][0] * float(one.price - _cost(one)), one.pk),
    )
    chosen = {*wanted, *(product.pk for product in others[:MOST_CANDIDATES])}
    products = tuple(product for product in every if product.pk in chosen)
    # What a product costs a customer here may not be its usual price.
    prices = {one.product_id: one.price for one in set_ups.values() if one is not None}
    margins = [prices.get(one.pk, one.price) - _cost(one) for one in products]
    place = {product.pk: number for number, product in enumerate(products)}
    gap = usual_gaps([machine.pk], now=now, usual=rules.usual_gap_days)[machine.pk]
    busy = frozenset(
        Changeover.objects.filter(
            column__machine=machine, state__in=["planned", "in_hand"]
        ).values_list("column", flat=True)
    )
    cabinet = Cabinet.of(
        [column.pk for column in columns],
        Products.of(
            [product.pk for product in products],
            [rates[product.pk][0] * WEEK for product in products],
            [float(margin) * minor for margin in margins],
            weekly_sd_units=[rates[product.pk][1] * WEEK for product in products],
            leftover_minor=[
                float(_cost(product) * rules.leftover_part) * minor for product in products
            ],
            waste_minor=[float(_cost(product)) * minor for product in products],
            life_days=[product.shelf_life_days or np.inf for product in products],
        ),
        [[_capacity(bench, column, product) for product in products] for column in columns],
        Arrangement.of(
            [
                EMPTY if (one := set_ups[column.pk]) is None else place[one.product_id]
                for column in columns
            ],
            [0 if (one := set_ups[column.pk]) is None else one.capacity for column in columns],
        ),
        visit_days=gap,
        minutes=rules.changeover_minutes,
        minute_minor=float(rules.hour_cost) * minor / 60,
        weeks=rules.pay_back_weeks,
        fixed=[column.pk in busy for column in columns],
        variance_to_mean=models.dispersion,
        most_changes=MOST_CHANGES,
    )
    return Arranged(
        machine=machine,
        columns=columns,
        products=products,
        cabinet=cabinet,
        own=frozenset(models.own),
        busy=busy,
        left_aside=len(others) - min(len(others), MOST_CANDIDATES),
        gap_days=gap,
        _bench=bench,
    )


@dataclass(frozen=True)
class _Models:
    machine: int
    own: dict[int, tuple[float, float]]
    pools: Pools
    dispersion: float

    def of(self, product: int) -> tuple[float, float]:
        """Units a day and how far that may be off, as a standard deviation."""
        if product in self.own:
            return self.own[product]
        return _rate(self.pools.model(self.machine, product))


def _models(machine: Machine, pools: Pools) -> _Models:
    """What the machine's products sell in all their columns together."""
    columns = columns_of([machine.pk])
    if not len(columns):
        return _Models(machine.pk, {}, pools, 1.0)
    fitted: Fitted = demand_of(columns, pools).fitted
    rate = fitted.rate
    variance = fitted.shape / fitted.exposure_days**2
    own: dict[int, tuple[float, float]] = {}
    for product in np.unique(columns.products).tolist():
        of = columns.products == product
        own[product] = float(rate[of].sum()), float(np.sqrt(variance[of].sum()))
    dispersion = float(np.clip(fitted.dispersion.mean(), 1.0, 20.0))
    return _Models(machine.pk, own, pools, dispersion)


def _rate(model: ColumnModel) -> tuple[float, float]:
    return model.rate, float(np.sqrt(model.shape) / model.exposure_days)


def _cost(product: Product) -> Decimal:
    if product.cost is None:
        return product.price * (1 - Decimal(str(UNKNOWN_MARGIN)))
    return product.cost


def _now(column: Column) -> SetUp | None:
    return next(iter(column.set_ups_now), None)  # type: ignore[attr-defined]


def fit_or_none(bench: Bench, column: Column, product: Product) -> Fit | None:
    try:
        return bench.fit(column.position, product.package)
    except BadMeasure:
        return None  # sizes that contradict each other; the package's own page says so


def _fits_somewhere(bench: Bench, columns: Sequence[Column], product: Product) -> bool:
    return any(_capacity(bench, column, product) for column in columns)


def _capacity(bench: Bench, column: Column, product: Product) -> int:
    answer = fit_or_none(bench, column, product)
    if answer is None or answer.verdict not in FITTING or answer.capacity is None:
        return 0
    return answer.capacity.units
