"""Rules of the other states: their own examples, and sums reckoned by the rules as read."""

from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest

from service.compliance.packs import packs, rule_by_key
from service.compute.tax.classes import Attributes, ClassCode, Form, Water, classify
from service.compute.tax.report import Decal
from service.compute.tax.rules import Rule, Rules, Sale, Shape, Takes
from service.compute.tax.split import RateOf, split

RULES = Rules.of(packs())
SODA = Attributes(Form.DRINK, sweetened=True, juice_percent=0, contains_milk=False, carbonated=True)
COFFEE = Attributes(Form.DRINK, sweetened=False, contains_milk=False, heated=True)
WATER = Attributes(Form.DRINK, sweetened=False, carbonated=False, water=Water.PLAIN)
MILK = Attributes(Form.DRINK, sweetened=False, contains_milk=True)
CANDY = Attributes(
    Form.BAR_DROP_PIECE, sweetened=True, contains_flour=False, needs_refrigeration=False
)
WAFER = replace(CANDY, contains_flour=True)
CHIPS = Attributes(Form.OTHER_FOOD, needs_refrigeration=False)
SANDWICH = Attributes(Form.OTHER_FOOD, needs_refrigeration=True)
DAY = date(2026, 3, 2)


def rule(key: str) -> Rule:
    found = rule_by_key(key)
    assert found, key
    return found


def at(rate: str, food: str | None = None) -> tuple[RateOf, ...]:
    return (RateOf("X", "the place", "state", Decimal(rate), Decimal(food) if food else None),)


def found(state: str, product: Attributes, price: str = "1.75", **more: object) -> Rule | None:
    sale = Sale(
        state=state,
        on=DAY,
        code=classify(product, state).code,
        price=Decimal(price),
        carbonated=product.carbonated,
    )
    return RULES.find(replace(sale, **more)).rule  # type: ignore[arg-type]


def is_taxed(state: str, product: Attributes, price: str = "1.75", **more: object) -> bool:
    one = found(state, product, price, **more)
    assert one is not None
    return one.shape is not Shape.EXEMPT


def test_new_jersey() -> None:
    """The example of N.J.A.C. 18:24-16.7 and ANJ-16: goods, milk and food of 10,000 together."""
    parts = [
        split(Decimal(receipts), rule(key), at("0.07"))
        for receipts, key in ((1000, "nj-other"), (1000, "nj-milk"), (8000, "nj-food"))
    ]
    assert sum(one.measure for one in parts) == 6600
    assert sum(one.exempt for one in parts) == 1000 + 2400
    assert sum(one.tax for one in parts) == Decimal("462.00")
    assert is_taxed("NJ", CANDY, "0.30")
    assert not is_taxed("NJ", CANDY, "0.25")
    assert not is_taxed("NJ", MILK)
    # Exempt inside the eating facility alone, which no record tells.
    assert found("NJ", CHIPS, premises="school") is None
    settled = Rules.of([replace(one, asks="") for one in packs()])
    sale = Sale("NJ", DAY, ClassCode.OTHER_FOOD, Decimal("1.75"), premises="school")
    told = settled.find(sale).rule
    assert told
    assert told.shape is Shape.EXEMPT


def test_maryland() -> None:
    """Md. Tax-Gen. 11-301(3): 5.67 % of receipts, not what dividing by 1.06 would give."""
    parts = split(Decimal(1000), rule("md-vending"), ())
    assert (parts.measure, parts.tax) == (945, Decimal("56.70"))
    inside = split(Decimal(1000), replace(rule("wa-full"), state="MD"), at("0.06"))
    assert inside.tax == Decimal("56.60")


@pytest.mark.parametrize(("price", "taxed"), [("0.10", False), ("0.11", True)])
def test_massachusetts_at_ten_cents(price: str, taxed: bool) -> None:
    """G.L. c.64H s.6(h): an item at 10 cents or less is exempt, whatever else the machine sells."""
    told = {"highest_price": Decimal("5.00"), "sells_other": True}
    assert is_taxed("MA", CHIPS, price, **told) is taxed


def test_a_bars_class_is_another_in_another_state() -> None:
    """Fact Sheet 158 of Minnesota and 61 Pa. Code 31.28: candy is taxed here, exempt there."""
    assert is_taxed("MN", CANDY)
    assert not is_taxed("PA", CANDY)


def test_virginia() -> None:
    """Dealer A of 23VAC10-210-6041: a cost price of 1,000. 5.3 % and 6 % are the usual rates."""
    for usual, tax in (("0.053", "63.00"), ("0.06", "70.00")):
        parts = split(Decimal(2500), rule("va-cost"), at(usual), cost=Decimal(1000))
        assert (parts.tax, parts.measured_otherwise) == (Decimal(tax), 2500)


def test_north_carolina() -> None:
    """17 NCAC 07B .2901, at 6.75 %: half of the price where the machine takes coins."""
    for takes, tax in ((Takes.CASH, "33.75"), (Takes.ALL, "33.75"), (Takes.CASHLESS, "67.50")):
        one = found("NC", SODA, takes=takes)
        assert one
        assert split(Decimal(1000), one, at("0.0675")).tax == Decimal(tax)


def test_texas() -> None:
    """34 TAC 3.293(d): 1,082.50 of soda at 8.25 % with the sign; 1,000 of food by halves."""
    parts = split(Decimal("1082.50"), rule("tx-full"), at("0.0825"))
    assert (parts.taxable, parts.tax) == (Decimal("1000.00"), Decimal("82.50"))
    assert split(Decimal(1000), rule("tx-food"), at("0.0825")).tax == Decimal("41.25")
    assert not is_taxed("TX", WATER)
    flavoured = replace(WATER, water=Water.FLAVOURED)
    assert classify(flavoured, "TX").code is ClassCode.SOFT_DRINK


@pytest.mark.parametrize(
    ("state", "product", "price", "taxed"),
    [
        # Tex. Tax Code 151.305.
        ("TX", CANDY, "0.50", False),
        ("TX", CANDY, "0.55", True),
        ("TX", SODA, "0.50", True),
        # Md. Tax-Gen. 11-201.1.
        ("MD", CANDY, "0.75", False),
        ("MD", CANDY, "0.80", True),
        # Cal. Rev. & Tax. Code 6359.4.
        ("CA", CANDY, "0.25", False),
        ("CA", CANDY, "0.30", True),
        ("CA", SODA, "0.25", True),
    ],
)
def test_bulk_machines(state: str, product: Attributes, price: str, taxed: bool) -> None:
    assert is_taxed(state, product, price, bulk=True) is taxed


def test_california_at_fifteen_cents() -> None:
    """Cal. Rev. & Tax. Code 6359.4: the operator is the consumer of food at 15 cents or less."""
    assert not is_taxed("CA", CANDY, "0.15")
    assert is_taxed("CA", CANDY, "0.20")


def test_washington() -> None:
    """WAC 458-20-244: 57 % of other food; soft drinks in full with the tax in the price."""
    parts = split(Decimal(1000), rule("wa-food"), at("0.10"))
    assert (parts.taxable, parts.tax, parts.exempt) == (570, 57, 373)
    assert split(Decimal(110), rule("wa-full"), at("0.10")).tax == 10


@pytest.mark.parametrize(
    ("price", "takes", "taxed"),
    [
        ("1.50", Takes.CASH, False),
        ("1.75", Takes.CASH, True),
        ("2.00", Takes.ALL, False),
        ("2.25", Takes.ALL, True),
    ],
)
def test_new_york_by_payment(price: str, takes: Takes, taxed: bool) -> None:
    """TB-ST-280: 1.50 where coins and notes only are taken, 2.00 where cards are too."""
    assert is_taxed("NY", CANDY, price, takes=takes) is taxed


@pytest.mark.parametrize(
    ("on", "price", "taxed"),
    [
        (date(2014, 5, 31), "0.75", False),
        (date(2014, 5, 31), "1.00", True),
        (date(2014, 6, 1), "1.50", False),
        (date(2018, 6, 1), "2.00", True),
        (date(2020, 11, 1), "2.00", False),
        (date(2026, 5, 31), "2.00", False),
    ],
)
def test_new_york_by_date(on: date, price: str, taxed: bool) -> None:
    """The history of Tax Law 1115(a)(1)(B), for machines that take all forms of payment."""
    assert is_taxed("NY", SODA, price, on=on) is taxed


@pytest.mark.parametrize(
    ("low", "high", "taxed"),
    [
        # 1,000 at 10 cents and 200 at 50: 100 of 200, the rule's first example.
        (1000 * Decimal("0.10"), 200 * Decimal("0.50"), False),
        (990 * Decimal("0.10"), 200 * Decimal("0.50"), True),
    ],
)
def test_new_york_at_ten_cents(low: Decimal, high: Decimal, taxed: bool) -> None:
    """20 NYCRR 528.14: exempt where such receipts are at least half of all receipts."""
    goods, share = Attributes(Form.NOT_FOOD), low / (low + high)
    assert is_taxed("NY", goods, "0.10", low_share=share) is taxed
    assert is_taxed("NY", goods, "0.25", low_share=share, bulk=True) is taxed
    assert is_taxed("NY", goods, "0.25", low_share=share)
    assert found("NY", goods, "0.10") is None  # of a share that nobody knows nothing is assumed


def test_new_york_after_the_term_nothing_is_assumed() -> None:
    """The law read ends on 31 May 2026; from then on the sale has no rule."""
    assert found("NY", CANDY, "1.00", on=date(2026, 6, 1)) is None


def test_idaho() -> None:
    """IDAPA 35.01.02.058, at 6 %: by cost to a dollar, by the price above it."""
    assert not is_taxed("ID", CANDY, "0.11")
    by_cost, by_price = found("ID", CANDY, "1.00"), found("ID", CANDY, "1.01")
    assert by_cost
    assert by_price
    assert split(Decimal(500), by_cost, at("0.06"), cost=Decimal(300)).tax == Decimal("21.06")
    assert split(Decimal(106), by_price, at("0.06")).tax == 6


def test_missouri() -> None:
    """12 CSR 10-103.400: 135 % of cost; the state's 4.225 % is from memory."""
    parts = split(Decimal(3000), rule("mo-cost"), at("0.04225"), cost=Decimal(1000))
    assert (parts.measure, parts.tax) == (1350, Decimal("57.04"))


def test_utah() -> None:
    """R865-19S-74: 150 % of cost where each sale is a dollar or less."""
    one = found("UT", CHIPS, "1.00")
    assert one
    assert split(Decimal(2000), one, at("0.0485"), cost=Decimal(1000)).measure == 1500
    dearer = found("UT", CHIPS, "1.01")
    assert dearer
    assert dearer.shape is Shape.INCLUDED


def test_alabama() -> None:
    """Ala. Admin. Code 810-6-1-.183.02, the state's part: 3 % of food, 4 % of drinks."""
    assert split(Decimal(1000), rule("al-food"), ()).tax == Decimal("29.13")
    assert split(Decimal(1000), rule("al-drink"), ()).tax == Decimal("38.46")


def test_arkansas() -> None:
    """Ark. Code 26-57-1206: a dozen machines at 25 cents or more."""
    one = found("AR", CANDY, "0.25")
    assert one
    assert one.decal is not None
    assert Decal("AR", one.key, 12, one.decal).amount == 1116
    below = found("AR", CANDY, "0.24")
    assert below
    assert below.decal == 15
    assert split(Decimal(900), one, ()).measured_otherwise == 900


def test_arkansas_bulk_machines() -> None:
    """Ark. Code 26-57-1206."""
    for price, each in (("0.50", "7.50"), ("0.25", "2.50")):
        one = found("AR", CANDY, price, bulk=True)
        assert one
        assert one.decal == Decimal(each)


def test_tennessee() -> None:
    """Tenn. Code 67-4-506: a charity's choice, so that nothing is assumed before it is told."""
    assert found("TN", CANDY, "0.25", premises="charity") is None
    assert split(Decimal(1000), rule("tn-charity"), ()).tax == 15


def test_connecticut() -> None:
    """C.G.S. 12-412(13), (27)(B): soda by its price, chips at any."""
    assert not is_taxed("CT", SODA, "0.50")
    assert is_taxed("CT", SODA, "0.75")
    assert not is_taxed("CT", CHIPS, "3.00")


def test_massachusetts() -> None:
    """TIR 00-11: one item at 3.50 spoils the machine; nothing is guessed of what else it sells."""
    for highest, taxed in (("3.49", False), ("3.50", True)):
        assert is_taxed("MA", CHIPS, highest_price=Decimal(highest), sells_other=False) is taxed
    assert found("MA", CHIPS) is None


def test_michigan() -> None:
    """RAB 2024-13: a chilled can is exempt, a chilled sandwich is not."""
    assert not is_taxed("MI", SODA)
    assert is_taxed("MI", SANDWICH)


def test_minnesota() -> None:
    """Fact Sheet 158: cold sandwiches taxable; licorice and cookies (flour), water and milk not."""
    for product, taxed in (
        (SANDWICH, True),
        (CANDY, True),
        (SODA, True),
        (WAFER, False),
        (WATER, False),
        (MILK, False),
    ):
        assert is_taxed("MN", product) is taxed


def test_pennsylvania() -> None:
    """61 Pa. Code 31.28: candy exempt, soda and coffee not; schools' selected items exempt."""
    assert not is_taxed("PA", CANDY)
    assert is_taxed("PA", SODA)
    assert is_taxed("PA", COFFEE)
    assert not is_taxed("PA", COFFEE, premises="school")


def test_illinois() -> None:
    """86 Ill. Adm. Code 130.310(a): soda and candy high, a cold sandwich low. Rates invented."""
    rates = at("0.0625", food="0.01")
    for product, rate in ((SODA, "0.0625"), (CANDY, "0.0625"), (SANDWICH, "0.01")):
        one = found("IL", product)
        assert one
        assert split(Decimal(100), one, rates).rate == Decimal(rate)


def test_georgia() -> None:
    """560-12-2-.06: all receipts. The rate is invented."""
    assert split(Decimal(1000), rule("ga-gross"), at("0.07")).tax == 70


def test_ohio() -> None:
    """R.C. 5739.01(EEE): soda taxable; candy, and drinks of more than half juice, are food."""
    assert is_taxed("OH", SODA)
    assert not is_taxed("OH", CANDY)
    assert not is_taxed("OH", replace(SODA, juice_percent=51))
    assert is_taxed("OH", replace(SODA, juice_percent=50))
