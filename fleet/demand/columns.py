"""What is known of columns that hold a product now, as arrays side by side."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields
from typing import Any, Final, Self

import numpy as np
from numpy.typing import NDArray

from fleet.compute.demand.model import ColumnModel, Fitted
from people.models import Business

from .columnar import fetch
from .models import ColumnDemand
from .pools import Pools

#: The part of the price that is taken for the margin of a product whose cost nobody has entered.
UNKNOWN_MARGIN: Final = 0.5
#: Columns looked at in one go: enough for arrays to pay, few enough that chances of each count of
#: units stay in a few ten megabytes.
BLOCK: Final = 4_000

_SQL: Final = """
SELECT c.id::int8, c.machine_id::int8, s.product_id::int8, s.capacity::int4,
       s.price::float8, coalesce(p.cost, -1)::float8, coalesce(p.shelf_life_days, 0)::int4,
       coalesce(k.volume_ml, 0)::float8, coalesce(k.weight_g, 0)::float8
FROM machines_column c
JOIN machines_setup s ON s.column_id = c.id AND s.ends_at IS NULL
JOIN machines_product p ON p.id = s.product_id
JOIN machines_package k ON k.id = p.package_id
WHERE c.machine_id = ANY(%s)
ORDER BY c.id
"""


@dataclass(frozen=True)
class Columns:
    """Columns in the order of their keys. Money in minor units of the business's currency.

    `cost_known` is False where half the price stands for the margin; `shelf_life_days` 0 means
    that nothing goes out of date.
    """

    ids: NDArray[np.int64]
    machines: NDArray[np.int64]
    products: NDArray[np.int64]
    capacities: NDArray[np.int64]
    price_minor: NDArray[np.float64]
    cost_minor: NDArray[np.float64]
    cost_known: NDArray[np.bool_]
    shelf_life_days: NDArray[np.int64]
    volume_ml: NDArray[np.float64]
    weight_g: NDArray[np.float64]

    @property
    def margin_minor(self) -> NDArray[np.float64]:
        return np.maximum(self.price_minor - self.cost_minor, 0)

    def where(self, chosen: NDArray[Any]) -> Self:
        return type(self)(**{one.name: getattr(self, one.name)[chosen] for one in fields(self)})

    def blocks(self) -> Iterator[NDArray[np.int64]]:
        """The places of all columns, so many at a time."""
        for first in range(0, len(self), BLOCK):
            yield np.arange(first, min(first + BLOCK, len(self)))

    def __len__(self) -> int:
        return len(self.ids)


def columns_of(machines: Sequence[int]) -> Columns:
    """The columns of machines that hold a product now. Two queries."""
    rows = fetch(
        _SQL,
        [list(machines)],
        [
            ("column", "int8"),
            ("machine", "int8"),
            ("product", "int8"),
            ("capacity", "int4"),
            ("price", "float8"),
            ("cost", "float8"),
            ("shelf_life", "int4"),
            ("volume", "float8"),
            ("weight", "float8"),
        ],
    )
    minor = 10.0 ** Business.the().currency_exponent
    known = rows["cost"] >= 0
    return Columns(
        ids=rows["column"],
        machines=rows["machine"],
        products=rows["product"],
        capacities=rows["capacity"].astype(np.int64),
        price_minor=rows["price"] * minor,
        cost_minor=np.where(known, rows["cost"], rows["price"] * (1 - UNKNOWN_MARGIN)) * minor,
        cost_known=known,
        shelf_life_days=rows["shelf_life"].astype(np.int64),
        volume_ml=rows["volume"],
        weight_g=rows["weight"],
    )


@dataclass(frozen=True)
class Demands:
    """The demand of columns: the models, and which of them are the column's own."""

    fitted: Fitted
    own: NDArray[np.bool_]


def demand_of(columns: Columns, pools: Pools | None = None) -> Demands:
    """The demand of each column for the product that it holds now.

    As last fitted; where the column was set up for the product since, from the product's and the
    machine's pool. Two queries and those of the pools.
    """
    rows = ColumnDemand.objects.filter(column__in=columns.ids.tolist()).order_by()
    products = dict(zip(columns.ids.tolist(), columns.products.tolist(), strict=True))
    kept = {
        column: model
        for column, product, model in rows.values_list("column", "product", "model")
        if products[column] == product
    }
    known = pools
    models: list[ColumnModel] = []
    own = np.zeros(len(columns), np.bool_)
    for place, column in enumerate(columns.ids.tolist()):
        if column in kept:
            models.append(ColumnModel.from_json(kept[column]))
            own[place] = True
            continue
        known = known or Pools.for_machines(columns.machines.tolist())
        models.append(known.model(int(columns.machines[place]), int(columns.products[place])))
    return Demands(Fitted.of(models), own)
