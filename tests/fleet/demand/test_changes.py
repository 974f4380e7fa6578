"""What would change if a machine held something else: asked, and suggested."""

from collections.abc import Sequence

import pytest

from fleet.demand.models import ColumnDemand, DemandRules
from fleet.demand.queries.changes import Ask, suggested, what_if
from fleet.machines.models import Machine, Product
from people.errors import Unacceptable
from people.models import Person
from tests.fleet.demand.sellers import column, fit_all, sell_and_read, shop
from tests.world import World

pytestmark = pytest.mark.django_db


@pytest.fixture
def sold(world: World, owner: Person) -> Sequence[Machine]:
    machines = shop(world)
    for machine in machines:
        sell_and_read(machine, until=world.now, rates={"1": 6.0, "2": 0.1})
    fit_all(owner, world.now)
    return machines


def test_a_seller_in_a_slow_sellers_column_gains(sold: Sequence[Machine], world: World) -> None:
    """Cola asks for 42 a week and its one column holds 30 from visit to visit."""
    machine = sold[0]
    cola = Product.objects.get(name="Cola")
    found = what_if(machine=machine, asks=[Ask(column(machine, "2"), cola)], now=world.now)
    (change,) = found.changes
    assert (change.before.name, change.after.name) == ("Lemon", "Cola")  # type: ignore[union-attr]
    assert found.comparison.gain_before_work_minor > 500
    assert found.comparison.work_minutes == DemandRules.the().changeover_minutes
    assert found.comparison.low_minor <= found.comparison.gain_minor <= found.comparison.high_minor
    side = next(one for one in found.products if one.product == cola)
    assert side.columns == (1, 2)
    assert side.sold[1] > side.sold[0] + 5


def test_an_empty_column_loses(sold: Sequence[Machine], world: World) -> None:
    found = what_if(machine=sold[0], asks=[Ask(column(sold[0], "1"), None)], now=world.now)
    assert found.comparison.gain_minor < 0
    assert found.comparison.weeks_to_pay_back is None


def test_another_depth_holds_another_number(sold: Sequence[Machine], world: World) -> None:
    cola = Product.objects.get(name="Cola")
    found = what_if(machine=sold[0], asks=[Ask(column(sold[0], "1"), cola, 1)], now=world.now)
    (change,) = found.changes
    assert change.units_after == change.units_before / 2
    assert found.comparison.gain_minor < 0


def test_a_product_new_to_the_machine_is_the_less_certain(
    sold: Sequence[Machine], world: World
) -> None:
    orange = world.product("Orange", Product.objects.get(name="Cola").package)
    found = what_if(machine=sold[0], asks=[Ask(column(sold[0], "2"), orange)], now=world.now)
    assert "from_pool" in {one.code for one in found.cautions}
    spread = found.comparison.high_minor - found.comparison.low_minor
    known = what_if(
        machine=sold[0],
        asks=[Ask(column(sold[0], "2"), Product.objects.get(name="Cola"))],
        now=world.now,
    )
    assert spread > known.comparison.high_minor - known.comparison.low_minor


def test_what_does_not_fit_is_refused_with_the_reason(
    sold: Sequence[Machine], world: World
) -> None:
    wide = world.product("Wide", world.can("wide can", diameter_mm=200))
    with pytest.raises(Unacceptable) as refused:
        what_if(machine=sold[0], asks=[Ask(column(sold[0], "1"), wide)], now=world.now)
    assert refused.value.code == "does_not_fit"
    assert "asks.0.product" in refused.value.fields


def test_a_column_twice_or_of_another_machine_is_refused(
    sold: Sequence[Machine], world: World
) -> None:
    cola = Product.objects.get(name="Cola")
    one, other = column(sold[0], "1"), column(sold[1], "1")
    for asks, field in (
        ([Ask(one, cola), Ask(one, None)], "asks.1.column"),
        ([Ask(other, cola)], "asks.0.column"),
        ([Ask(one, cola, 9)], "asks.0.deep"),
        ([], "asks"),
    ):
        with pytest.raises(Unacceptable) as refused:
            what_if(machine=sold[0], asks=asks, now=world.now)
        assert field in refused.value.fields


def test_the_good_seller_is_suggested_for_more_room(sold: Sequence[Machine], world: World) -> None:
    """Its one column holds 30 of the 42 a week that are asked for; two columns stand empty."""
    found = suggested(machine=sold[0], now=world.now)
    cola = next(one for one in found.products if one.product.name == "Cola")
    assert cola.columns[1] > cola.columns[0]
    assert cola.sold[1] > cola.sold[0] + 5
    assert "1" not in {change.column.position.label for change in found.changes}
    assert found.comparison.gain_minor > 0
    assert found.proven
    assert all(change.fit is not None for change in found.changes)
    parts = [change.gain_minor for change in found.changes]
    assert all(part is not None and part > 0 for part in parts)


def test_work_that_costs_more_than_it_gains_is_not_suggested(
    sold: Sequence[Machine], world: World
) -> None:
    DemandRules.the()
    DemandRules.objects.update(changeover_minutes=600, pay_back_weeks=1, hour_cost=900)
    assert suggested(machine=sold[0], now=world.now).changes == ()


def test_a_column_with_an_open_changeover_is_left_alone(
    sold: Sequence[Machine], world: World
) -> None:
    world.planned(column(sold[0], "2"), Product.objects.get(name="Cola"))
    found = suggested(machine=sold[0], now=world.now)
    assert "2" not in {change.column.position.label for change in found.changes}
    assert "open_changeover" in {one.code for one in found.cautions}


def test_asking_keeps_nothing(sold: Sequence[Machine], world: World) -> None:
    before = list(ColumnDemand.objects.order_by("pk").values())
    suggested(machine=sold[0], now=world.now)
    assert list(ColumnDemand.objects.order_by("pk").values()) == before
