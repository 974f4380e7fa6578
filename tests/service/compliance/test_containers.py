"""Container deposits in what machines took: taken off commission where that is agreed, kept out of
the tax where its rule says so, and said where they are not known."""

from datetime import date
from decimal import Decimal

import pytest

from fleet.machines.models import Product, Site
from fleet.sales.actions import agreements
from people.models import Person
from service.compliance import statements
from service.compliance.queries.tax import tax_of_machines, tax_report
from service.compliance.sums.gathering import Period
from tests.service.compliance.taxed import Sales, drinks, local, machine_at
from tests.world import World

pytestmark = pytest.mark.django_db
FEBRUARY = Period(date(2026, 2, 1), date(2026, 3, 1))


def sell_in(state: str, world: World) -> int:
    """500 cans of 12 fl oz at 1.75, 300 of them cola and 200 plain water; the machine's key."""
    site = world.site("Palm Court", state=state)
    machine = machine_at(world, "LOB-1", site, drinks(world))
    sales = Sales(machine)
    sales.read(local(2026, 2, 2, 9))
    sales.read(local(2026, 2, 20, 9), cash_1=300, card_2=200)
    return machine.pk


def words_and_base(owner: Person) -> tuple[Decimal, tuple[str, ...]]:
    """What a host in that place gets its percent of, deposits taken off."""
    site = Site.objects.get(name="Palm Court")
    agreement = agreements.save_agreement(
        agreement=None,
        changes={
            "site": site,
            "starts_on": date(2026, 1, 1),
            "terms": {"shares": {"": "10"}, "base": ["deposit"]},
        },
        actor=owner,
        now=local(2026, 1, 1, 9),
    )
    found = statements.preview_of(agreement, date(2026, 2, 10)).reckoned
    return found.base, found.said


@pytest.mark.parametrize(
    ("state", "deposits"),
    [
        ("OR", "50.00"),  # 10 cents on soda and on water (ORS 459A.705)
        ("IA", "15.00"),  # 5 cents on what is carbonated (Iowa Code 455C.2)
        ("MI", "30.00"),  # 10 cents on what is carbonated (MCL 445.571 ff)
        ("FL", "0.00"),  # no law is entered
    ],
)
def test_a_deposit_is_taken_off_wherever_there_is_one(
    state: str, deposits: str, world: World, owner: Person
) -> None:
    machine = sell_in(state, world)
    assert tax_of_machines(FEBRUARY)[machine].deposit == Decimal(deposits)
    base, _ = words_and_base(owner)
    assert base == Decimal("875.00") - Decimal(deposits)


def test_one_that_is_not_known_is_said(world: World, owner: Person) -> None:
    sell_in("MI", world)
    Product.objects.filter(name="Cola").update(carbonated=None)
    base, said = words_and_base(owner)
    assert base == Decimal("875.00")
    assert any("deposit of 300 units is not known" in one for one in said)
    made = tax_report(FEBRUARY, state="MI").report
    assert made.totals.deposits == 0
    assert any("MI: the container deposit of Cola" in one for one in made.said)


def test_only_where_its_rule_says_so_it_is_kept_out_of_the_tax(world: World) -> None:
    sell_in("OR", world)
    assert tax_report(FEBRUARY).report.totals.deposits == 0
