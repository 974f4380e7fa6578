"""What is candy and what a soft drink, by the outcomes that states have published.

The Streamlined Sales Tax library of definitions as Minnesota and Washington have it (candy:
sweetener in bars, drops or pieces; no flour, no refrigeration), and as Ohio, R.C. 5739.01(EEE), and
North Carolina have it (soft drink: sweetened, no milk, not more than half juice by volume). The
wafer bar and the peanut-butter cup were read in secondary texts.
"""

import pytest

from service.compute.tax.classes import Attributes, ClassCode, Form, Water, classify

BAR, OTHER, DRINK = Form.BAR_DROP_PIECE, Form.OTHER_FOOD, Form.DRINK


def sweet(form: Form = BAR, *, flour: bool = False, cold: bool = False) -> Attributes:
    return Attributes(form, sweetened=True, contains_flour=flour, needs_refrigeration=cold)


@pytest.mark.parametrize(
    ("name", "product", "code"),
    [
        ("chewing gum", sweet(), ClassCode.CANDY),
        ("breath mints", sweet(), ClassCode.CANDY),
        ("honey-roasted nuts", sweet(), ClassCode.CANDY),
        ("a bar of cereal without flour", sweet(), ClassCode.CANDY),
        ("a peanut-butter cup", sweet(), ClassCode.CANDY),
        ("licorice", sweet(flour=True), ClassCode.OTHER_FOOD),
        ("cookies", sweet(flour=True), ClassCode.OTHER_FOOD),
        ("a wafer bar", sweet(flour=True), ClassCode.OTHER_FOOD),
        ("candy floss", sweet(OTHER), ClassCode.OTHER_FOOD),
        ("a bar that is kept cold", sweet(cold=True), ClassCode.CHILLED_FOOD),
    ],
)
def test_candy(name: str, product: Attributes, code: ClassCode) -> None:
    for state in ("MN", "WA"):
        assert classify(product, state).code is code, name


def drink(juice: int = 0, *, milk: bool = False, sweetened: bool = True) -> Attributes:
    return Attributes(DRINK, sweetened=sweetened, juice_percent=juice, contains_milk=milk)


@pytest.mark.parametrize(
    ("state", "product", "code"),
    [
        ("OH", drink(0), ClassCode.SOFT_DRINK),
        ("OH", drink(50), ClassCode.SOFT_DRINK),
        ("OH", drink(51), ClassCode.JUICE),
        ("OH", drink(0, milk=True), ClassCode.MILK),
        ("NC", drink(50), ClassCode.SOFT_DRINK),
        ("NC", drink(51), ClassCode.JUICE),
        # TB-ST-280: a fruit drink of less than 70 % juice.
        ("NY", drink(69), ClassCode.SOFT_DRINK),
        ("NY", drink(70), ClassCode.JUICE),
        # 61 Pa. Code 31.28: a juice beverage of 25 % juice or more.
        ("PA", drink(24), ClassCode.SOFT_DRINK),
        ("PA", drink(25), ClassCode.JUICE),
        # 34 TAC 3.293: more than half juice; flavoured water is a soft drink, plain water is not.
        ("TX", drink(50), ClassCode.SOFT_DRINK),
        ("TX", drink(51), ClassCode.JUICE),
        ("TX", Attributes(DRINK, sweetened=False, water=Water.FLAVOURED), ClassCode.SOFT_DRINK),
        ("TX", Attributes(DRINK, sweetened=False, water=Water.PLAIN), ClassCode.WATER),
        (
            "TX",
            Attributes(DRINK, sweetened=False, carbonated=True, water=Water.PLAIN),
            ClassCode.WATER,
        ),
    ],
)
def test_soft_drinks(state: str, product: Attributes, code: ClassCode) -> None:
    assert classify(product, state).code is code


def test_a_supplement_carries_its_box() -> None:
    """Ind. Code 6-2.5-1-16: the box of 21 CFR 101.36 makes it one."""
    box = Attributes(BAR, sweetened=True, contains_flour=False, supplement_facts=True)
    assert classify(box, "IN").code is ClassCode.SUPPLEMENT
