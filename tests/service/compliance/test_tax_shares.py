"""New York's goods at low prices: exempt where they are half of all receipts (20 NYCRR 528.14)."""

from decimal import Decimal

import pytest

from fleet.machines.models import Machine
from fleet.sales.models import SaleInterval
from people.models import Person
from service.compliance.actions import tax_rules
from service.compliance.queries.tax import tax_report
from service.compliance.sums.gathering import Period
from tests.service.compliance.taxed import Sales, drinks, local, machine_at, rate
from tests.service.compliance.test_tax_report import FEBRUARY
from tests.world import World

pytestmark = pytest.mark.django_db


@pytest.fixture
def york(world: World, owner: Person) -> tuple[Machine, Machine]:
    """A machine at 10 cents, and one at 50."""
    tax_rules.load_packs(states=["NY"], actor=owner, now=world.now)
    rate("NY", "state", "0.04", owner, world.now)
    site = world.site("Canal Row", state="NY")
    goods = drinks(world)
    return machine_at(world, "LOW-1", site, goods), machine_at(world, "DEAR-1", site, goods)


def sell(machine: Machine, price: int, units: int) -> None:
    sales = Sales(machine, price=price)
    sales.read(local(2026, 2, 2, 9))
    sales.read(local(2026, 2, 20, 9), cash_1=units)


def soda(period: Period = FEBRUARY, machines: list[int] | None = None) -> dict[str, Decimal]:
    """Receipts by rule."""
    found = tax_report(period, machines=machines).report
    return {line.rule: line.split.receipts for line in found.lines}


def test_half_of_all_receipts_is_enough(york: tuple[Machine, Machine]) -> None:
    """Example 1 of the rule: 1,000 at 10 cents and 200 at 50 are 100 of 200, 50 %."""
    low, dear = york
    sell(low, 10, 1000)
    sell(dear, 50, 200)
    # Soft drinks at or below 1.50 are exempt by a rule above it, at cash machines.
    found = tax_report(FEBRUARY).report
    assert found.totals.receipts == Decimal("200.00")
    held = {fact.key: fact.sale.low_share for fact in tax_report(FEBRUARY).gathered.facts}
    assert held[f"{low.pk}:{_product(low)}"] == Decimal("0.5")
    assert held[f"{dear.pk}:{_product(dear)}"] is None
    assert any("100.00 of 200.00 of all receipts by reads, 50.0 %" in said for said in found.said)


def _product(machine: Machine) -> int:
    return machine.columns.get(position__label="1").set_ups.get().product_id


def test_the_share_is_of_the_whole_business_whatever_the_report_is_of(
    york: tuple[Machine, Machine], world: World, owner: Person
) -> None:
    low, dear = york
    candy(low)
    candy(dear)
    sell(low, 10, 1000)
    sell(dear, 50, 201)
    of_one = soda(machines=[low.pk])
    assert "ny-ten-cents" not in of_one
    assert of_one["ny-not-food"] == Decimal("100.00")
    SaleInterval.objects.filter(paid_units=201).update(paid_minor=10000)
    assert soda(machines=[low.pk]) == {"ny-ten-cents": Decimal("100.00")}
    assert soda()["ny-ten-cents"] == Decimal("100.00")


def candy(machine: Machine) -> None:
    """Make what a machine sells no food: then no other rule of the state exempts it."""
    for column in machine.columns.all():
        for one in column.set_ups.all():
            one.product.form = "not_food"
            one.product.save()


def test_a_price_that_nobody_knows_and_that_would_decide_leaves_it_open(
    york: tuple[Machine, Machine],
) -> None:
    low, dear = york
    candy(low)
    candy(dear)
    sell(low, 10, 1000)
    sell(dear, 50, 201)
    SaleInterval.objects.filter(paid_units=201).update(price_minor=None)
    found = tax_report(FEBRUARY, machines=[low.pk]).report
    assert found.totals.unclassified == Decimal("100.00")
    assert "share of all receipts at such prices is not known" in found.lines[0].split.why[0]
    assert any("more at a price nobody knows" in said for said in found.said)


def test_a_bulk_machine_is_one_because_its_kind_says_so(york: tuple[Machine, Machine]) -> None:
    low, _ = york
    candy(low)
    sell(low, 25, 100)
    assert "ny-bulk" not in soda()
    low.kind.bulk = True
    low.kind.save()
    assert soda() == {"ny-bulk": Decimal("25.00")}
    frozen = tax_report(FEBRUARY).gathered.facts
    assert {fact.sale.bulk for fact in frozen} == {True}


def test_where_no_rule_asks_nothing_is_said(world: World, owner: Person) -> None:
    tax_rules.load_packs(states=["FL"], actor=owner, now=world.now)
    rate("FL", "state", "0.06", owner, world.now)
    machine = machine_at(world, "FL-1", world.site("Palm Court", state="FL"), drinks(world))
    sell(machine, 10, 3)
    made = tax_report(FEBRUARY)
    assert not any("of all receipts by reads" in said for said in made.report.said)
