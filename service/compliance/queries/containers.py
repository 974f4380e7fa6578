"""Container deposits in what machines took, by the law of each place and day."""

from collections.abc import Iterable
from datetime import date
from decimal import Decimal
from typing import Final

from fleet.machines.models import Product
from service.compute import deposits
from service.compute.tax.split import ZERO

from ..sums.segments import Segment

KEPT_OUT: Final = {
    "MI": "Mich. Comp. Laws 205.54g(1)(b)",
    "PA": "61 Pa. Code 31.2(1), where it is stated by itself",
}
"""States whose rule keeps a container deposit out of the base, by the text read; elsewhere it stays
in receipts."""


class Containers:
    """Deposits on containers of products, each asked once. None: a fact that decides is missing."""

    def __init__(self, products: Iterable[Product]) -> None:
        self._products = {one.pk: one for one in products}
        self._known: dict[tuple[int, str, date], Decimal | None] = {}

    def deposit(self, product_id: int | None, segment: Segment) -> Decimal | None:
        """What a customer paid of it for one container; nothing where no law is entered."""
        product = self._products.get(product_id or 0)
        if product is None or product.form != Product.Form.DRINK:
            return ZERO
        if segment.state not in deposits.STATES:
            return ZERO
        at = (product.pk, segment.state, segment.on)
        if at not in self._known:
            self._known[at] = _deposit(product, segment.state, segment.on)
        return self._known[at]

    def unknown(self, state: str) -> list[str]:
        """Names of products of which the deposit in a state was asked for and is not known."""
        found = {
            str(self._products[product])
            for (product, of, _), amount in self._known.items()
            if of == state and amount is None
        }
        return sorted(found)


def _deposit(product: Product, state: str, on: date) -> Decimal | None:
    package = product.package
    if package.volume_ml is None or not package.material:
        return None
    found = deposits.deposit(
        state,
        on,
        volume_ml=package.volume_ml,
        material=package.material,
        drink=deposits.Drink(
            carbonated=product.carbonated,
            sweetened=product.sweetened,
            contains_milk=product.contains_milk,
            juice_percent=product.juice_percent,
            water=deposits.Water(product.water),
        ),
    )
    return found.amount
