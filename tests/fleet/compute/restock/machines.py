"""Machines to ask about: invented, and drawn by hypothesis."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
from hypothesis import strategies as st

from fleet.compute.restock.arrangements import EMPTY, Arrangement, Machine, Products
from fleet.compute.restock.assignment import net_weekly
from fleet.compute.restock.worth import Worths


@st.composite
def machines(draw, most_columns: int = 3, most_products: int = 4, *, transfer: bool = False):
    """A machine of a few columns in which any product fits or not, as it comes."""
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    columns = draw(st.integers(1, most_columns))
    products = draw(st.integers(1, most_products))
    known = Products.of(
        rng.permutation(50)[:products],
        rng.gamma(2, 6, products),
        rng.integers(-10, 150, products),
        weekly_sd_units=rng.uniform(0, 5, products),
        leftover_minor=rng.uniform(0, 6, products),
        waste_minor=rng.choice([0, 60], products),
        life_days=rng.choice([np.inf, 12, 60], products),
    )
    capacity = rng.integers(0, 2, (columns, products)) * rng.integers(4, 30, (columns, products))
    held = rng.integers(EMPTY, products, columns)
    room = np.where(held == EMPTY, 0, rng.integers(5, 25, columns))
    shares = None
    if transfer and products > 1:
        shares = rng.uniform(0, 0.5, (products, products)) / (products - 1)
        np.fill_diagonal(shares, 0)
    return Machine.of(
        rng.permutation(50)[:columns],
        known,
        capacity,
        Arrangement.of(held, room),
        visit_days=float(rng.choice([3.5, 7, 14])),
        minutes=rng.choice([0, 20, 60]),
        minute_minor=60,
        weeks=float(rng.choice([4, 13])),
        fixed=rng.random(columns) < 0.15,
        must_sell=rng.random(products) < 0.15,
        transfer=shares,
        variance_to_mean=float(rng.choice([1, 1.8])),
        most_changes=draw(st.sampled_from([None, None, 1, 2])),
    )


def every_arrangement(machine: Machine):
    """All that may be done to a machine, one by one."""
    choices = []
    for column in range(machine.column_key.size):
        now = (int(machine.now.product[column]), int(machine.now.units[column]))
        fitting = [
            (product, int(machine.capacity[column, product]))
            for product in range(machine.products.count)
            if machine.capacity[column, product] and not machine.fixed[column]
        ]
        choices.append(list(dict.fromkeys([now, *fitting])))
    must = set(np.flatnonzero(machine.must_sell)) & set(machine.now.product.tolist())
    for together in itertools.product(*choices):
        product, units = zip(*together, strict=True)
        changes = sum(
            one != (int(machine.now.product[column]), int(machine.now.units[column]))
            for column, one in enumerate(together)
        )
        few = machine.most_changes is None or changes <= machine.most_changes
        if few and must <= set(product):
            yield Arrangement.of(product, units)


def best_by_trying(machine: Machine) -> float:
    worths = Worths(machine)
    return max(net_weekly(worths, one) for one in every_arrangement(machine))


def shuffled(machine: Machine, random) -> tuple[Machine, list[int]]:
    """The same machine with its columns and products in another order."""
    columns, products = list(range(machine.column_key.size)), list(range(machine.products.count))
    random.shuffle(columns)
    random.shuffle(products)
    place = {product: n for n, product in enumerate(products)} | {EMPTY: EMPTY}
    held = [place[int(machine.now.product[column])] for column in columns]
    fields = {name: getattr(machine.products, name)[products] for name in Products.__slots__}
    both = np.ix_(columns, products)
    shares = machine.transfer
    return replace(
        machine,
        column_key=machine.column_key[columns],
        products=Products(**fields),
        capacity=machine.capacity[both],
        now=Arrangement.of(held, machine.now.units[columns]),
        work=replace(machine.work, minutes=machine.work.minutes[both]),
        fixed=machine.fixed[columns],
        must_sell=machine.must_sell[products],
        transfer=None if shares is None else shares[np.ix_(products, products)],
    ), columns
