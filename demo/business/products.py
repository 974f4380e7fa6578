"""Forty-five products of invented brands.

Their numbers are in-store ones (a GTIN-13 that starts with 2 is never given to a real product),
with the check digit of the GS1 General Specifications: weights 3, 1, 3, 1 from the right.
Shelf lives follow common practice, no published source: sweetened drinks in plastic about three
months past filling, in cans six to nine, water longer, chips six to ten weeks.
"""

from __future__ import annotations

from demo.business.shapes import Attributes, Product


def in_store_gtin(number: int) -> str:
    """GTIN-13 in the in-store range for a running number of up to ten digits."""
    if not 0 <= number < 10**10:
        raise ValueError(f"{number} does not fit the ten digits of an in-store number")
    digits = f"20{number:010d}"
    total = sum(
        int(digit) * (3 if place % 2 == 0 else 1) for place, digit in enumerate(digits[::-1])
    )
    return digits + str(-total % 10)


SODA = Attributes(sweetened=True, carbonated=True)
DIET = Attributes(sweetened=True, carbonated=True)
TEA = Attributes(sweetened=True)
SPORT = Attributes(sweetened=True)
ENERGY = Attributes(sweetened=True, carbonated=True)
SUPPLEMENT = Attributes(sweetened=True, supplement_facts=True)
PLAIN = Attributes(water="plain")
SELTZER = Attributes(carbonated=True, water="flavoured")
SWEET_WATER = Attributes(sweetened=True, water="flavoured")
MILK = Attributes(sweetened=True, contains_milk=True, needs_refrigeration=True)
CHIPS = Attributes(form="piece")
PRETZEL = Attributes(form="piece", contains_flour=True)
COOKIE = Attributes(form="piece", sweetened=True, contains_flour=True)
DROPS = Attributes(form="drop", sweetened=True)
CANDY_BAR = Attributes(form="bar", sweetened=True)
WAFER_BAR = Attributes(form="bar", sweetened=True, contains_flour=True)
NUTS = Attributes(form="piece")


def _juice(percent: int, *, sweetened: bool = False) -> Attributes:
    return Attributes(juice_percent=percent, sweetened=sweetened)


# code, name, package, price and cost in cents, shelf life in days, attributes
_TABLE: tuple[tuple[str, str, str, int, int, int, Attributes], ...] = (
    ("brindle-cola-12", "Brindlewick Cola 12 oz", "can-12oz", 150, 46, 270, SODA),
    ("brindle-zero-12", "Brindlewick Zero 12 oz", "can-12oz", 150, 46, 180, DIET),
    ("brindle-cherry-12", "Brindlewick Cherry 12 oz", "can-12oz", 150, 47, 270, SODA),
    ("oster-orange-12", "Osterfizz Orange 12 oz", "can-12oz", 150, 44, 270, SODA),
    ("oster-grape-12", "Osterfizz Grape 12 oz", "can-12oz", 150, 44, 270, SODA),
    ("quennel-lime-12", "Quennel Lemon Lime 12 oz", "can-12oz", 150, 45, 270, SODA),
    ("quennel-ginger-12", "Quennel Ginger 12 oz", "can-12oz", 150, 45, 270, SODA),
    ("rootbarrow-12", "Rootbarrow Root Beer 12 oz", "can-12oz", 150, 46, 270, SODA),
    ("haldane-seltzer-12", "Haldane Seltzer Lime 12 oz", "can-12oz-sleek", 175, 52, 360, SELTZER),
    ("haldane-berry-12", "Haldane Seltzer Berry 12 oz", "can-12oz-sleek", 175, 52, 360, SELTZER),
    ("voltwren-16", "Voltwren Energy 16 oz", "can-16oz", 300, 128, 360, ENERGY),
    ("voltwren-light-16", "Voltwren Light 16 oz", "can-16oz", 300, 128, 360, ENERGY),
    ("leafmark-tea-16", "Leafmark Sweet Tea 16 oz", "can-16oz", 225, 71, 270, TEA),
    ("nightjar-slim", "Nightjar Energy 8.4 oz", "can-8oz4-slim", 275, 119, 540, SUPPLEMENT),
    ("pomarin-250", "Pomarin Apple 250 ml", "can-250ml-sleek", 160, 58, 270, _juice(100)),
    ("pomarin-mango-250", "Pomarin Mango 250 ml", "can-250ml-sleek", 160, 58, 270, _juice(50)),
    ("brindle-cola-500", "Brindlewick Cola 500 ml", "can-500ml", 210, 69, 270, SODA),
    ("brindle-cola-20", "Brindlewick Cola 20 oz", "bottle-20oz", 250, 88, 91, SODA),
    ("brindle-zero-20", "Brindlewick Zero 20 oz", "bottle-20oz", 250, 88, 77, DIET),
    ("oster-orange-20", "Osterfizz Orange 20 oz", "bottle-20oz", 250, 86, 91, SODA),
    ("quennel-lime-20", "Quennel Lemon Lime 20 oz", "bottle-20oz", 250, 86, 91, SODA),
    ("merrow-water", "Merrow Creek Water 500 ml", "bottle-500ml", 175, 29, 540, PLAIN),
    ("merrow-lemon", "Merrow Creek Lemon 500 ml", "bottle-500ml", 185, 41, 360, SWEET_WATER),
    ("stridewell-blue", "Stridewell Sport Blue 20 oz", "bottle-sport", 260, 97, 270, SPORT),
    ("stridewell-citrus", "Stridewell Sport Citrus 20 oz", "bottle-sport", 260, 97, 270, SPORT),
    ("tavish-orange", "Tavish Orange Juice 12 oz", "bottle-juice", 240, 92, 120, _juice(100)),
    (
        "tavish-cranberry",
        "Tavish Cranberry 12 oz",
        "bottle-juice",
        240,
        90,
        180,
        _juice(30, sweetened=True),
    ),
    ("dellmeadow-choc", "Dellmeadow Chocolate Milk 330 ml", "carton-330ml", 230, 101, 60, MILK),
    ("cragside-salt", "Cragside Sea Salt Chips", "bag-small", 160, 52, 56, CHIPS),
    ("cragside-bbq", "Cragside Smoke Chips", "bag-small", 160, 52, 56, CHIPS),
    ("cragside-onion", "Cragside Onion Chips", "bag-small", 160, 52, 56, CHIPS),
    ("lindover-rounds", "Lindover Corn Rounds", "bag-small", 160, 50, 63, CHIPS),
    ("twistle-pretzel", "Twistlebrook Pretzels", "bag-small", 150, 45, 120, PRETZEL),
    ("popwell-cheddar", "Popwellow Cheddar Corn", "bag-large", 200, 71, 63, CHIPS),
    ("orchardby-mix", "Orchardby Nut Mix", "bag-small", 225, 96, 150, NUTS),
    ("cragside-salt-big", "Cragside Sea Salt Big Bag", "bag-large", 225, 81, 56, CHIPS),
    ("fennimore-cookies", "Fennimore Oat Cookies", "bag-small", 175, 59, 90, COOKIE),
    ("gumdrell-drops", "Gumdrell Fruit Drops", "bag-small", 170, 55, 300, DROPS),
    ("cocorrin-bar", "Cocorrin Milk Bar", "bar", 165, 66, 270, CANDY_BAR),
    ("cocorrin-dark", "Cocorrin Dark Bar", "bar", 165, 66, 300, CANDY_BAR),
    ("peanella-bar", "Peanella Nut Bar", "bar", 165, 67, 240, CANDY_BAR),
    ("waferick-bar", "Waferick Crisp Bar", "bar", 165, 64, 240, WAFER_BAR),
    ("oatsmith-bar", "Oatsmith Granola Bar", "bar", 150, 49, 240, WAFER_BAR),
    ("caramund-bar", "Caramund Chew Bar", "bar", 165, 66, 270, CANDY_BAR),
    ("millhaven-bar", "Millhaven Protein Bar", "bar", 295, 134, 300, CANDY_BAR),
)

# A package's energy as its label would say it; of what came only lately nobody wrote it down yet.
_CALORIES = {
    **dict.fromkeys(("brindle-cola-12", "oster-orange-12", "oster-grape-12"), 160),
    **dict.fromkeys(("brindle-zero-12", "haldane-seltzer-12", "haldane-berry-12"), 0),
    **dict.fromkeys(("brindle-zero-20", "merrow-water"), 0),
    "brindle-cherry-12": 160,
    "quennel-lime-12": 140,
    "quennel-ginger-12": 130,
    "rootbarrow-12": 170,
    "voltwren-16": 230,
    "voltwren-light-16": 15,
    "leafmark-tea-16": 180,
    "nightjar-slim": 110,
    "pomarin-250": 120,
    "pomarin-mango-250": 130,
    "brindle-cola-500": 210,
    "brindle-cola-20": 260,
    "oster-orange-20": 270,
    "quennel-lime-20": 240,
    "merrow-lemon": 45,
    "stridewell-blue": 140,
    "stridewell-citrus": 140,
    "tavish-orange": 170,
    "dellmeadow-choc": 250,
    "cragside-salt": 230,
    "cragside-bbq": 230,
    "cragside-onion": 240,
    "lindover-rounds": 220,
    "twistle-pretzel": 170,
    "popwell-cheddar": 320,
    "orchardby-mix": 340,
    "cragside-salt-big": 410,
    "fennimore-cookies": 280,
    "gumdrell-drops": 200,
    "cocorrin-bar": 230,
    "cocorrin-dark": 220,
    "peanella-bar": 250,
    "waferick-bar": 210,
    "oatsmith-bar": 190,
    "caramund-bar": 240,
}

PRODUCTS = tuple(
    Product(
        code=code,
        name=name,
        package_code=package_code,
        gtin=in_store_gtin(4_700_000 + 17 * place),
        price_minor=price_minor,
        cost_minor=cost_minor,
        shelf_life_days=shelf_life_days,
        attributes=attributes,
        calories=_CALORIES.get(code),
    )
    for place, (
        code,
        name,
        package_code,
        price_minor,
        cost_minor,
        shelf_life_days,
        attributes,
    ) in enumerate(_TABLE)
)
