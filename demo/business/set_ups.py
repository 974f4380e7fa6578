"""What lies in each column and since when, with the changeovers of the last weeks."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, timedelta

from demo.business.charts import chart_line
from demo.business.kinds import BOTH_SIDES, DOOR_SIDE, KINDS, SPIRAL, TWIN
from demo.business.machines import asset_tag
from demo.business.products import PRODUCTS
from demo.business.shapes import Kind, Machine, Product, SetUp

_PLANS: dict[str, dict[str, str]] = {
    DOOR_SIDE: {
        **dict.fromkeys(("1", "2", "3", "4", "5"), "can-12oz"),
        "6": "can-16oz",
        "7": "bottle-20oz",
        "8": "bottle-500ml",
        "9": "bottle-sport",
    },
    TWIN: {
        "1": "can-12oz",
        "2": "bottle-20oz",
        "3": "bottle-500ml",
        "4": "can-12oz",
        "5": "can-12oz-sleek",
        "6": "bottle-sport",
        "7": "can-8oz4-slim",
        "8": "bottle-juice",
    },
    BOTH_SIDES: {
        "1": "can-12oz",
        "2": "can-12oz",
        "3": "can-16oz",
        "4": "bottle-20oz",
        "5": "bottle-500ml",
        "6": "bottle-sport",
        "7": "bottle-juice",
        "8": "carton-330ml",
        "9": "can-500ml",
        "10": "can-250ml-sleek",
    },
    SPIRAL: {
        "A1": "bag-large",
        "A2": "bag-large",
        **dict.fromkeys(("A3", "A4", "A5"), "bag-small"),
        **{f"{row}{lane}": "bag-small" for row in "BC" for lane in range(1, 7)},
        **{f"D{lane}": "bar" for lane in range(1, 9)},
        **{f"E{lane}": "bar" for lane in range(1, 8)},
    },
}


@dataclass(frozen=True)
class Change:
    """A button whose columns went over to another product at the last visit by a given day."""

    asset_tag: str
    button: str
    product_code: str
    days_before: int


CHANGES = (
    # The lobby's fifth button: a 12 oz can lying two deep gives way to a 16 oz tall can, one deep.
    Change(asset_tag("S01", "A"), "5", "voltwren-light-16", 30),
    # Older than the twelve weeks, so that the books hold some history.
    Change(asset_tag("S01", "A"), "2", "rootbarrow-12", 210),
    Change(asset_tag("S06", "B"), "6", "dellmeadow-choc", 47),
    Change(asset_tag("S15", "A"), "7", "brindle-cola-500", 61),
    Change(asset_tag("S22", "A"), "9", "tavish-orange", 38),
    Change(asset_tag("S10", "B"), "4", "voltwren-16", 26),
    Change(asset_tag("S30", "B"), "7", "quennel-ginger-12", 53),
    Change(asset_tag("S12", "C"), "6", "pomarin-250", 24),
    Change(asset_tag("S19", "A"), "4", "tavish-cranberry", 19),
    Change(asset_tag("S31", "C"), "3", "brindle-zero-12", 70),
    Change(asset_tag("S03", "S"), "A2", "orchardby-mix", 33),
    Change(asset_tag("S33", "S"), "B4", "fennimore-cookies", 17),
    Change(asset_tag("S08", "S"), "D1", "oatsmith-bar", 44),
)


@dataclass(frozen=True)
class PriceRise:
    """All products of one package in one machine became dearer at the last visit by a day."""

    asset_tag: str
    package_code: str
    by_minor: int
    days_before: int


PRICE_RISES = (
    PriceRise(asset_tag("S05", "B"), "can-12oz", 10, 41),
    PriceRise(asset_tag("S27", "C"), "bottle-20oz", 25, 22),
)

_PRODUCTS = {product.code: product for product in PRODUCTS}


def _pool(package_code: str) -> list[Product]:
    return [product for product in PRODUCTS if product.package_code == package_code]


def visit_day(machine: Machine, latest: date) -> date:
    """The machine's last visiting day on or before a date."""
    day = latest
    while day.weekday() not in machine.visit_weekdays:
        day -= timedelta(days=1)
    return day


def next_visit_day(machine: Machine, day: date) -> date:
    """The machine's first visiting day after a date."""
    following = day + timedelta(days=1)
    while following.weekday() not in machine.visit_weekdays:
        following += timedelta(days=1)
    return following


def _set_up(machine: Machine, kind: Kind, *, column: str, product: Product, starts: date) -> SetUp:
    line = chart_line(kind.name, column, product.package_code)
    return SetUp(
        asset_tag=machine.asset_tag,
        column=column,
        product_code=product.code,
        price_minor=product.price_minor,
        capacity=line.capacity,
        starts=starts,
        deep=line.deep,
        front_notch=line.front_notch,
        rear_notch=line.rear_notch,
        program=line.program,
    )


def _first_set_ups(machine: Machine, kind: Kind) -> Iterable[SetUp]:
    number = int(machine.asset_tag[3:])
    used: dict[str, int] = {}
    for button in kind.buttons:
        package_code = _PLANS[kind.name][button.code]
        pool = _pool(package_code)
        turn = used.get(package_code, 0)
        used[package_code] = turn + 1
        product = pool[(number + turn) % len(pool)]
        for column in button.columns:
            yield _set_up(machine, kind, column=column, product=product, starts=machine.placed_on)


def _followed_by(set_ups: list[SetUp], new: SetUp) -> list[SetUp]:
    """The set-ups with the column's open one ended where the new one begins."""
    closed = [
        replace(old, ends=new.starts) if old.column == new.column and old.ends is None else old
        for old in set_ups
    ]
    return [*closed, new]


def _of_machine(machine: Machine, kind: Kind, until: date) -> list[SetUp]:
    set_ups = list(_first_set_ups(machine, kind))
    columns_of = {button.code: button.columns for button in kind.buttons}
    steps: list[Change | PriceRise] = [
        step for step in (*CHANGES, *PRICE_RISES) if step.asset_tag == machine.asset_tag
    ]
    for step in sorted(steps, key=lambda step: -step.days_before):
        starts = visit_day(machine, until - timedelta(days=step.days_before))
        if isinstance(step, Change):
            product = _PRODUCTS[step.product_code]
            for column in columns_of[step.button]:
                new = _set_up(machine, kind, column=column, product=product, starts=starts)
                set_ups = _followed_by(set_ups, new)
            continue
        for old in [set_up for set_up in set_ups if set_up.ends is None]:
            if _PRODUCTS[old.product_code].package_code == step.package_code:
                dearer = replace(old, starts=starts, price_minor=old.price_minor + step.by_minor)
                set_ups = _followed_by(set_ups, dearer)
    return sorted(set_ups, key=lambda set_up: (set_up.column, set_up.starts))


def set_ups(machines: Iterable[Machine], until: date) -> tuple[SetUp, ...]:
    """Every column's set-ups from the day its machine was placed; the last of each is open."""
    kinds = {kind.name: kind for kind in KINDS}
    return tuple(
        set_up
        for machine in machines
        for set_up in _of_machine(machine, kinds[machine.kind_name], until)
    )
