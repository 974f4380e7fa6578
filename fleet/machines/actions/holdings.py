"""Packages and products."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from fleet.compute.gtin import BadGtin, as_gtin14
from fleet.compute.units import BadMeasure
from people import rows
from people.errors import Unacceptable
from people.models import Business, Person

from ..geometry import package_of
from ..models import Package, Product


def save_package(
    *, actor: Person, now: datetime, changes: Mapping[str, Any], package: Package | None = None
) -> Package:
    """Add a package or change its sizes.

    Raises Unacceptable, naming the size that cannot be true.
    """
    row = package or Package()
    stored = {name: getattr(row, name) for name in changes}
    try:
        for name, value in changes.items():
            setattr(row, name, value)
        rows.check(row)
        package_of(row)
    except BadMeasure as error:
        field = error.field.removeprefix("package.")
        raise Unacceptable(str(error), fields={field: error.message}) from error
    finally:
        for name, value in stored.items():
            setattr(row, name, value)
    return rows.put(
        row,
        changes,
        actor=actor,
        verb="add package" if package is None else "change package",
        now=now,
    )


def save_product(
    *, actor: Person, now: datetime, changes: Mapping[str, Any], product: Product | None = None
) -> Product:
    """Add a product or change it. The GTIN is kept as 14 digits; a spare part is never sold.

    Raises Unacceptable.
    """
    wanted = dict(changes)
    if wanted.get("form", None if product is None else product.form) == Product.Form.PART:
        _require_never_set_up(product)
        wanted["sold"] = False
    if "gtin" in wanted:
        wanted["gtin"] = _gtin(wanted["gtin"])
    for name in ("price", "cost"):
        if wanted.get(name) is not None:
            require_money(wanted[name], name)
    return rows.put(
        product or Product(),
        wanted,
        actor=actor,
        verb="add product" if product is None else "change product",
        now=now,
    )


def require_money(amount: Any, field: str) -> None:
    """Refuse an amount finer than the currency's smallest unit. Raises Unacceptable."""
    business = Business.the()
    places = -amount.normalize().as_tuple().exponent
    if places > business.currency_exponent:
        message = (
            f"{amount} has {places} decimal places; {business.currency} "
            f"has {business.currency_exponent}"
        )
        raise Unacceptable(f"{field}: {message}", fields={field: message})


def _require_never_set_up(product: Product | None) -> None:
    if product is not None and product.set_ups.exists():
        message = f"{product} is or was sold in machines; it cannot become a spare part"
        raise Unacceptable(f"form: {message}", fields={"form": message})


def _gtin(given: str | None) -> str | None:
    if not given:
        return None
    try:
        return as_gtin14(given)
    except BadGtin as error:
        raise Unacceptable(f"gtin: {error}", fields={"gtin": str(error)}) from error
