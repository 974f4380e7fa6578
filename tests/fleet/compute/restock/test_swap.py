"""What would change if columns held something else, and what to change."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy import stats

from fleet.compute.restock.arrangements import EMPTY, Arrangement, Machine, Products
from fleet.compute.restock.assignment import best_arrangement, net_weekly
from fleet.compute.restock.climbing import climbed
from fleet.compute.restock.fill import Terms, levels
from fleet.compute.restock.swap import suggest, what_if
from fleet.compute.restock.worth import TRUTHS, Worths, chance_of_each
from fleet.compute.units import BadMeasure
from tests.fleet.compute.restock.machines import best_by_trying, machines, shuffled

COLA, WATER, TEA = 0, 1, 2
slow = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def a_machine(**more) -> Machine:
    """Two columns of cola and one of tea that hardly sells; water fits the last two."""
    known = Products.of(
        [11, 12, 13],
        [45, 14, 2],
        [90, 110, 100],
        weekly_sd_units=more.pop("weekly_sd_units", [1, 5, 0.5]),
        leftover_minor=2,
    )
    return Machine.of(
        [1, 2, 3],
        known,
        [[30, 0, 24], [30, 20, 24], [0, 20, 24]],
        Arrangement.of([COLA, COLA, TEA], [30, 30, 24]),
        visit_days=7,
        minutes=25,
        minute_minor=60,
        weeks=10,
        **more,
    )


def test_the_slow_product_leaves_for_the_one_that_sells():
    found = suggest(a_machine())

    assert [(one.column, one.product_before, one.product_after) for one in found.changes] == [
        (3, 13, 12)
    ]
    assert found.proven
    compared = found.comparison
    assert compared.work_minutes == 25
    assert compared.gain_minor == pytest.approx(compared.gain_before_work_minor - 25 * 60 / 10)
    assert compared.weeks_to_pay_back == pytest.approx(1500 / compared.gain_before_work_minor)
    assert found.changes[0].gain_minor == pytest.approx(compared.gain_minor)
    by_product = {one.product: one for one in compared.products}
    assert (by_product[12].columns_before, by_product[12].columns_after) == (0, 1)
    assert by_product[13].sold_after == 0


def test_two_columns_instead_of_one_share_the_demand():
    """Sold of a Poisson demand of 45 from 30, by scipy; from 60 nearly all of it."""
    machine = a_machine(weekly_sd_units=0)
    one = Arrangement.of([COLA, EMPTY, TEA], [30, 0, 24])

    found = what_if(machine, machine.now, before=one)

    cola = {line.product: line for line in found.products}[11]
    at = np.arange(200)
    sold = stats.poisson.pmf(at, 45) @ np.minimum(at, 30)
    assert cola.sold_before == pytest.approx(sold)
    assert 44.5 < cola.sold_after < cola.asked_after == cola.asked_before == pytest.approx(45)
    leftover = 2 * ((60 - cola.sold_after) - (30 - cola.sold_before))
    earned = 90 * (cola.sold_after - cola.sold_before)
    assert found.gain_before_work_minor == pytest.approx(earned - leftover, abs=10)


def test_another_depth_is_another_capacity():
    machine = a_machine(weekly_sd_units=0)
    shallow = machine.now.changed(0, COLA, 4).changed(1, COLA, 4)

    found = what_if(machine, shallow)

    cola = {line.product: line for line in found.products}[11]
    assert (cola.capacity_before, cola.capacity_after) == (60, 8)
    at = np.arange(200)
    assert cola.sold_after == pytest.approx(stats.poisson.pmf(at, 45) @ np.minimum(at, 8))
    assert found.chance_of_gain == 0
    assert found.gain_minor < 0


def test_what_is_known_badly_gains_with_less_certainty():
    sure = suggest(a_machine(weekly_sd_units=[0, 0, 0])).comparison
    unsure = suggest(a_machine(weekly_sd_units=[1, 12, 0.5])).comparison

    assert sure.sd_minor == pytest.approx(0, abs=1e-6)
    assert sure.chance_of_gain == 1
    assert unsure.sd_minor > 200
    assert unsure.chance_of_gain < 1
    assert unsure.low_minor < unsure.gain_minor < unsure.high_minor


def test_the_chance_of_a_gain_is_that_of_the_belief():
    """A column far larger than its sales sells all that is asked for, so the gain is linear in a
    rate that is gamma: its chance and its quantiles are scipy's."""
    known = Products.of([1, 2], [10, 12], [100, 100], weekly_sd_units=[0, 6])
    now = Arrangement.of([0], [200])
    machine = Machine.of([1], known, [[200, 200]], now, visit_days=7)

    found = what_if(machine, Arrangement.of([1], [200]))

    belief = stats.gamma(4, scale=3)
    assert found.gain_minor == pytest.approx(200, rel=0.01)
    assert found.chance_of_gain == pytest.approx(belief.sf(10), abs=2 / TRUTHS)
    assert found.sd_minor == pytest.approx(600, rel=0.02)
    assert found.low_minor == pytest.approx(100 * (belief.ppf(0.05) - 10), abs=10)
    assert found.high_minor == pytest.approx(100 * (belief.ppf(0.95) - 10), abs=25)


def test_buyers_who_turn_to_a_like_product_are_not_lost():
    """Half the tea's buyers take water when there is no tea."""
    shares = np.zeros((3, 3))
    shares[TEA, WATER] = 0.5
    after = Arrangement.of([COLA, COLA, WATER], [30, 30, 20])

    alone = what_if(a_machine(), after)
    turned = what_if(a_machine(transfer=shares), after)

    water = {line.product: line for line in turned.products}[12]
    assert water.asked_after == pytest.approx(14 + 0.5 * 2)
    assert turned.gain_minor > alone.gain_minor


def test_a_product_that_comes_in_takes_its_share_back():
    shares = np.zeros((3, 3))
    shares[WATER, COLA] = 0.4
    machine = a_machine(transfer=shares)

    found = what_if(machine, Arrangement.of([COLA, COLA, WATER], [30, 30, 20]))

    cola = {line.product: line for line in found.products}[11]
    assert cola.asked_after == pytest.approx(45 - 0.4 * 14, abs=0.05)


def test_work_that_is_not_worth_it_is_left():
    machine = a_machine()
    dear = Machine.of(
        machine.column_key,
        machine.products,
        machine.capacity,
        machine.now,
        visit_days=7,
        minutes=600,
        minute_minor=100,
        weeks=4,
    )
    found = suggest(dear)
    assert found.changes == ()
    assert found.comparison.gain_minor == 0
    assert found.comparison.chance_of_gain == 0


def test_what_is_fixed_or_must_be_sold_stays():
    assert all(one.column != 3 for one in suggest(a_machine(fixed=[False, False, True])).changes)
    kept = suggest(a_machine(must_sell=[False, False, True]))
    assert TEA in kept.arrangement.product


def test_a_product_that_does_not_fit_is_refused_by_name():
    with pytest.raises(BadMeasure, match="product 12 does not fit column 1"):
        what_if(a_machine(), Arrangement.of([WATER, COLA, TEA], [20, 30, 24]))
    with pytest.raises(BadMeasure, match="capacity"):
        Machine.of([1], Products.of([1], 2, 3), [[-1]], Arrangement.of([0], [3]), visit_days=7)
    with pytest.raises(BadMeasure, match="transfer"):
        a_machine(transfer=np.full((3, 3), 0.2))


@pytest.mark.parametrize("variance_to_mean", [1.0, 1.7])
def test_the_chances_of_each_unit_are_those_of_scipy(variance_to_mean):
    """scipy.stats, Poisson and negative binomial with the same ratio of variance to mean."""
    mean = np.array([0.0, 0.3, 8.0, 750.0])
    found = chance_of_each(mean, 900, variance_to_mean)

    at = np.arange(900)
    for row, rate in zip(found[1:], mean[1:], strict=True):
        if variance_to_mean == 1:
            reference = stats.poisson.sf(at, rate)
        else:
            shape = rate / (variance_to_mean - 1)
            reference = stats.nbinom.sf(at, shape, 1 / variance_to_mean)
        assert row == pytest.approx(reference, abs=1e-10)
    assert found[0].max() < 1e-9


def test_a_machine_of_one_sure_product_is_worth_its_fill():
    """The same worth as `fill` gives for the same demand: one week, no doubt about the rate."""
    known = Products.of([1], 9.8, 110, leftover_minor=6, waste_minor=70, life_days=21)
    machine = Machine.of([1], known, [[25]], Arrangement.of([0], [25]), visit_days=7)
    rows = (1 - chance_of_each(np.array([9.8, 29.4]), 90, 1)).clip(0, 1)
    demand, late = np.diff(rows, prepend=0.0)

    found = levels(demand, Terms.of(110, 6, 70, 3), 25, until_date=late)

    assert Worths(machine).weekly(machine.now) == pytest.approx(found.worth_minor[0], abs=1e-6)


@slow
@given(machines())
def test_the_assignment_is_the_best_of_all_there_are(machine):
    found = best_arrangement(Worths(machine))

    assert found.proven
    assert found.weekly_minor == pytest.approx(best_by_trying(machine), abs=1e-5)


@slow
@given(machines(6, 7, transfer=True))
def test_the_assignment_is_never_worse_than_as_is_nor_than_greedy(machine):
    worths = Worths(machine)
    found = best_arrangement(worths)

    assert found.weekly_minor >= net_weekly(worths, machine.now)
    assert found.weekly_minor >= net_weekly(worths, climbed(worths, machine.now)) - 1e-6


@slow
@given(machines(3, 3, transfer=True))
def test_with_buyers_that_turn_it_stays_close_to_the_best(machine):
    worths = Worths(machine)
    as_is, best = net_weekly(worths, machine.now), best_by_trying(machine)

    found = best_arrangement(worths)

    assert found.weekly_minor - as_is >= 0.9 * (best - as_is) - 1e-5


@slow
@given(machines(5, 5, transfer=True))
def test_only_what_fits_is_ever_put_anywhere(machine):
    found = suggest(machine).arrangement

    for column in range(machine.column_key.size):
        product, units = int(found.product[column]), int(found.units[column])
        as_now = (product, units) == (machine.now.product[column], machine.now.units[column])
        assert as_now or (not machine.fixed[column] and units == machine.capacity[column, product])


@slow
@given(machines(4, 5, transfer=True), st.randoms())
def test_the_order_of_columns_and_products_changes_nothing(machine, random):
    other, columns = shuffled(machine, random)

    plain, again = suggest(machine), suggest(other)

    assert again.changes == plain.changes
    assert again.comparison == plain.comparison
    assert again.arrangement.units.tolist() == plain.arrangement.units[columns].tolist()
