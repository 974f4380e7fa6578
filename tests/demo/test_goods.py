"""No unit is made or lost on the way from the supplier to the customer, and luck is seeded."""

import itertools
from collections import Counter
from datetime import date, timedelta

import pytest

from demo.business import marrowby
from demo.simulator import simulate_with_truth
from demo.simulator.happenings import (
    Counted,
    Loaded,
    Lost,
    Opened,
    Ordered,
    Place,
    Received,
    Round,
    Unloaded,
    Wasted,
)


def told(weeks, kind):
    return [one for one in weeks.simulated.truth.happenings if isinstance(one, kind)]


def visits(weeks):
    """Visits of the machines in the books, with their machines' tags."""
    for machine in weeks.business.machines:
        for visit in weeks.simulated.truth[machine.asset_tag].visits:
            yield machine.asset_tag, visit


def by_product(*lines):
    sums: Counter = Counter()
    for lot, count in itertools.chain(*lines):
        sums[lot.product_code] += count
    return sums


def received(weeks):
    return by_product(
        *(((line.lot, line.received) for line in one.lines) for one in told(weeks, Received))
    )


def test_every_unit_is_somewhere(weeks):
    """What was there and what came in = sold + wasted + lost + what is still there, by product."""
    truth = weeks.simulated.truth
    ours = [truth[machine.asset_tag] for machine in weeks.business.machines]
    came = received(weeks) + by_product(
        *(one.lines for one in told(weeks, Opened)),
        *(lines for machine in ours for lines in machine.opened.values()),
    )
    fell: Counter = Counter()
    for machine in ours:
        for vend in machine.vends:
            if vend.how != "test":
                fell[vend.product_code] += vend.dropped
    gone = by_product(
        *(one.lines for one in (*told(weeks, Wasted), *told(weeks, Lost))),
        *(fill.out_of_date_lines for _, visit in visits(weeks) for fill in visit.fills),
    )
    there = by_product(
        *truth.left.values(), *(lines for machine in ours for lines in machine.held.values())
    )
    assert came.total() > 100_000
    assert came == fell + gone + there


def moved(weeks, place):
    """What came to a warehouse or a truck, less what left it, by lot."""
    balance: Counter = Counter()

    def add(lines, sign):
        for lot, count in lines:
            balance[lot] += sign * count

    truck = {shift.vehicle_name: shift for shift in weeks.business.shifts}.get(place.name)
    home = {vehicle.name: vehicle.warehouse_code for vehicle in weeks.business.vehicles}
    for one in weeks.simulated.truth.happenings:
        match one:
            case Opened():
                add(one.lines, one.place == place)
            case Received():
                lines = [(line.lot, line.received) for line in one.lines]
                add(lines, one.order.warehouse_code == place.name)
            case Loaded() | Unloaded():
                sign = 1 if isinstance(one, Loaded) else -1
                add(one.lines, sign * (one.truck == place.name))
                add(one.lines, -sign * (home[one.truck] == place.name))
            case Wasted() | Lost():
                add(one.lines, -(one.place == place))
    if truck is not None:
        for _, visit in visits(weeks):
            if visit.truck == place.name:
                for fill in visit.fills:
                    add(fill.lines, -1)
                    add(fill.pulled_lines, 1)
    return +balance, -balance


def test_every_place_holds_what_came_less_what_left_lot_by_lot(weeks):
    left = weeks.simulated.truth.left
    assert {place.kind for place in left} == {"warehouse", "truck"}
    for place, lines in left.items():
        held, owed = moved(weeks, place)
        assert not owed
        assert held == Counter(dict(lines)), place


def test_every_column_holds_what_was_put_in_less_what_fell(weeks):
    for machine in weeks.business.machines:
        truth = weeks.simulated.truth[machine.asset_tag]
        balance = {label: by_product(lines) for label, lines in truth.opened.items()}
        for visit in truth.visits:
            for fill in visit.fills:
                balance[fill.column] += by_product(fill.lines)
                balance[fill.column].subtract(by_product(fill.pulled_lines, fill.out_of_date_lines))
        for vend in truth.vends:
            if vend.how != "test":
                balance[vend.column][vend.product_code] -= vend.dropped
        for label, lines in truth.held.items():
            assert +balance[label] == by_product(lines)
            assert all(count >= 0 for count in balance[label].values())


def test_what_is_noted_is_mostly_so_and_honestly_wrong_sometimes(weeks):
    fills = [fill for _, visit in visits(weeks) for fill in visit.fills]
    wrong = [fill.noted_counted - fill.counted for fill in fills]
    assert set(wrong) == {-1, 0, 1}
    assert 0.005 < sum(map(abs, wrong)) / len(wrong) < 0.02
    noted = [fill.noted_filled - fill.filled for fill in fills]
    assert set(noted) == {-1, 0, 1}
    assert 0 < sum(map(abs, noted)) / len(noted) < 0.005
    lines = [line for one in told(weeks, Counted) for line in one.lines]
    assert 10 < sum(line.there != line.noted for line in lines) < 0.02 * len(lines)
    assert {one.place.kind for one in told(weeks, Counted)} == {"warehouse", "truck"}


def test_nobody_notes_more_out_of_a_truck_than_its_books_hold(weeks):
    """The books of a truck, kept from what is noted alone, never fall below nought."""
    for vehicle in weeks.business.vehicles:
        place, book = Place("truck", vehicle.name), Counter()
        notes = [
            (one.at, one)
            for one in weeks.simulated.truth.happenings
            if not isinstance(one, Ordered | Received | Round)
        ]
        for _, visit in visits(weeks):
            if visit.truck == vehicle.name:
                pulled = Counter({fill.was: fill.pulled for fill in visit.fills if fill.pulled})
                filled: Counter = Counter()
                for fill in visit.fills:
                    filled[fill.product_code] -= fill.noted_filled
                notes += [(visit.at, pulled), (visit.at + timedelta(minutes=1), filled)]
        for _, one in sorted(notes, key=lambda note: note[0]):
            match one:
                case Counted() if one.place == place:
                    for line in one.lines:
                        book[line.product_code] = line.noted
                case Opened() | Wasted() if one.place == place:
                    sign = 1 if isinstance(one, Opened) else -1
                    for lot, count in one.lines:
                        book[lot.product_code] += sign * count
                case Loaded() | Unloaded() if one.truck == vehicle.name:
                    sign = 1 if isinstance(one, Loaded) else -1
                    for lot, count in one.lines:
                        book[lot.product_code] += sign * count
                case Counted() | Opened() | Wasted() | Lost() | Loaded() | Unloaded():
                    pass
                case _:
                    book.update(one)
            assert all(count >= 0 for count in book.values()), (vehicle.name, one)


def test_goods_come_in_cases_with_a_few_differences_and_in_date(weeks):
    packs = {pack.product_code: pack for one in weeks.business.suppliers for pack in one.packs}
    life = {product.code: product.shelf_life_days for product in weeks.business.products}
    lines = [(one, line) for one in told(weeks, Received) for line in one.lines]
    for one, line in lines:
        assert line.ordered % packs[line.lot.product_code].units_per_case == 0
        left = (line.lot.best_before - one.at.date()).days
        assert 0.6 * life[line.lot.product_code] - 1 <= left < life[line.lot.product_code]
    different = sum(line.ordered != line.received for _, line in lines)
    assert 5 < different < 0.06 * len(lines)
    ordered = {one.number: one for one in told(weeks, Ordered)}
    assert len(ordered) == len(told(weeks, Ordered))
    assert all(ordered[one.order.number].at < one.at for one in told(weeks, Received))


def test_nothing_out_of_date_is_left_where_a_driver_was(weeks):
    thrown = 0
    for _, visit in visits(weeks):
        for fill in visit.fills:
            assert all(lot.best_before >= visit.at.date() for lot, _ in fill.lines)
            thrown += fill.out_of_date
    assert thrown > 50


def test_drivers_keep_to_hours_and_are_in_one_place_at_a_time(weeks):
    windows = {site.code: site.windows for site in weeks.business.sites}
    days: dict = {}
    for tag, visit in visits(weeks):
        local = visit.at
        site = windows[weeks.business.machine(tag).site_code]
        assert any(
            local.weekday() in window.weekdays
            and window.opens <= local.time()
            and visit.leaves.time() <= window.closes
            for window in site
        )
        days.setdefault((visit.driver_email, local.date()), []).append(visit)
    rounds = {(one.driver_email, one.day): one for one in told(weeks, Round)}
    assert set(days) <= set(rounds)
    shifts = {shift.driver_email: shift for shift in weeks.business.shifts}
    for key, made in days.items():
        made.sort(key=lambda visit: visit.at)
        assert all(a.leaves <= b.at for a, b in itertools.pairwise(made))
        assert rounds[key].leaves <= made[0].at
        assert made[-1].leaves <= rounds[key].back
        assert rounds[key].back.time() <= shifts[key[0]].ends


def test_each_bag_has_its_own_seal(weeks):
    seals = [visit.seal for _, visit in visits(weeks) if visit.collected_minor]
    assert all(seals)
    assert len(set(seals)) == len(seals)


def test_the_same_seed_gives_the_same_goods_and_another_gives_others():
    until = date(2026, 11, 25)
    first, again, other = (
        simulate_with_truth(marrowby(until), until, weeks=1, seed=seed).truth for seed in (1, 1, 2)
    )
    assert first == again
    assert first.happenings != other.happenings


@pytest.mark.parametrize("days", [7, 14])
def test_a_shorter_past_is_whole_as_well(days):
    until = date(2026, 11, 25)
    business = marrowby(until)
    truth = simulate_with_truth(business, until, weeks=days // 7).truth
    starts = min(one.at.date() for one in truth.happenings if isinstance(one, Opened))
    assert starts == until - timedelta(days=days)
    assert {place.kind for place in truth.left} == {"warehouse", "truck"}
