"""Whom the business buys from, by the case. All names are invented."""

from __future__ import annotations

from demo.business.products import PRODUCTS
from demo.business.shapes import CasePack, Product, Supplier

# Common practice, no published source: cans by 24, juice and cartons by the dozen, bars by 36.
_UNITS_PER_CASE = {
    "can-12oz": 24,
    "can-12oz-sleek": 24,
    "can-16oz": 12,
    "can-8oz4-slim": 24,
    "can-250ml-sleek": 24,
    "can-500ml": 12,
    "bottle-20oz": 24,
    "bottle-500ml": 24,
    "bottle-sport": 12,
    "bottle-juice": 12,
    "carton-330ml": 12,
    "bag-small": 24,
    "bag-large": 12,
    "bar": 36,
}

# code, name, weekday of the order, days until it is there, the brands it carries
_TABLE: tuple[tuple[str, str, int, int, tuple[str, ...]], ...] = (
    (
        "BRA",
        "Brackenfold Drinks Wholesale",
        0,
        2,
        ("brindle", "oster", "quennel", "rootbarrow", "haldane"),
    ),
    ("MER", "Merrow Creek Springs", 1, 3, ("merrow", "stridewell")),
    ("DEL", "Dellmeadow Juice and Dairy", 2, 1, ("dellmeadow", "tavish", "pomarin")),
    ("VOL", "Voltwren Trade Counter", 3, 4, ("voltwren", "nightjar", "leafmark")),
    (
        "CRA",
        "Cragside Snack Merchants",
        2,
        5,
        ("cragside", "lindover", "twistle", "popwell", "orchardby", "fennimore", "gumdrell"),
    ),
    (
        "SWE",
        "Sweetlatch Confectionery",
        3,
        6,
        ("cocorrin", "peanella", "waferick", "oatsmith", "caramund", "millhaven"),
    ),
)


def _pack(product: Product) -> CasePack:
    units = _UNITS_PER_CASE[product.package_code]
    return CasePack(
        product_code=product.code,
        units_per_case=units,
        case_cost_minor=units * product.cost_minor,
        minimum_cases=2 if product.package_code == "can-12oz" else 1,
    )


SUPPLIERS = tuple(
    Supplier(
        code=code,
        name=name,
        order_weekday=order_weekday,
        lead_time_days=lead_time_days,
        packs=tuple(_pack(one) for one in PRODUCTS if one.code.split("-")[0] in brands),
    )
    for code, name, order_weekday, lead_time_days, brands in _TABLE
)
