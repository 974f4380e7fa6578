"""What would make a return wrong in silence: days returned twice, a rate that lapsed or that a file
contradicts. Each is refused or stays unclassified, and says why."""

from datetime import date
from decimal import Decimal

import pytest

from fleet.machines.models import Machine, Product
from fleet.sales.models import SaleInterval
from fleet.sales.queries.commission import receipts
from people.errors import Unable
from people.models import Person
from service.compliance.actions import filing, tax_rules
from service.compliance.models import Jurisdiction, Rate
from service.compliance.queries.filing import inputs_of
from service.compliance.queries.tax import tax_report
from service.compliance.sums.gathering import Period
from service.compute.tax.report import report, thawed
from service.compute.tax.rules import Rules
from tests.service.compliance.taxed import Sales, drinks, local, machine_at, rate
from tests.world import World

pytestmark = pytest.mark.django_db
JANUARY = Period(date(2026, 1, 1), date(2026, 2, 1))
QUARTER = Period(date(2026, 1, 1), date(2026, 4, 1))


@pytest.fixture
def jersey(world: World, owner: Person) -> Machine:
    """In a district of New Jersey at 7.625 %, where 100 drinks at 1.75 were sold in January."""
    tax_rules.load_packs(states=["NJ"], actor=owner, now=world.now)
    rate("NJ", "state", "0.06625", owner, world.now)
    district = rate("NJ-63-00007", "district", "0.01", owner, world.now)
    site = world.site("Dune Street", state="NJ")
    tax_rules.place_site(site=site, jurisdiction=district, actor=owner, now=world.now)
    machine = machine_at(world, "LOB-1", site, drinks(world))
    sales = Sales(machine)
    sales.read(local(2026, 1, 2, 9))
    sales.read(local(2026, 1, 12, 9), cash_1=100)
    return machine


def test_days_are_not_returned_twice(jersey: Machine, world: World, owner: Person) -> None:
    now = local(2026, 4, 5, 9)
    filing.file_period(state="NJ", period=JANUARY, actor=owner, now=now)
    with pytest.raises(Unable, match="returned twice") as refused:
        filing.file_period(state="NJ", period=QUARTER, actor=owner, now=now)
    assert refused.value.code == "filed_in_part"
    rest = Period(date(2026, 2, 1), date(2026, 4, 1))
    assert filing.file_period(state="NJ", period=rest, actor=owner, now=now).receipts == 0
    assert filing.file_period(state="PA", period=QUARTER, actor=owner, now=now).receipts == 0


def test_the_day_it_was_filed_is_that_of_the_business(
    jersey: Machine, world: World, owner: Person
) -> None:
    """Ten in the evening in New York is the next day by UTC."""
    filing.file_period(state="NJ", period=JANUARY, actor=owner, now=local(2026, 2, 5, 22))
    with pytest.raises(Unable, match="was filed on 2026-02-05; amend it"):
        filing.file_period(state="NJ", period=JANUARY, actor=owner, now=local(2026, 2, 6, 9))


def test_a_rate_that_lapsed_leaves_receipts_unclassified(
    jersey: Machine, world: World, owner: Person
) -> None:
    assert tax_report(JANUARY).report.totals.unclassified == 0
    row = Rate.objects.get(jurisdiction__code="NJ-63-00007")
    tax_rules.save_rate(
        jurisdiction=row.jurisdiction,
        changes={"ends_on": date(2026, 1, 1)},
        rate=row,
        actor=owner,
        now=world.now,
    )
    made = tax_report(JANUARY)
    (line,) = made.report.lines
    assert line.split.unclassified == line.split.receipts == Decimal("175.00")
    assert line.split.why == (
        "no rate of NJ-63-00007 is entered for that day; where there is none, enter 0",
    )
    # The same from what a return keeps, and another digest than with a rate of nothing.
    filed = filing.file_period(state="NJ", period=JANUARY, actor=owner, now=local(2026, 2, 5, 9))
    facts, rules = thawed(inputs_of(filed))
    assert report(facts, Rules.of(rules)).lines == made.report.lines
    tax_rules.save_rate(
        jurisdiction=row.jurisdiction,
        changes={"general": Decimal(0), "begins_on": date(2026, 1, 1)},
        actor=owner,
        now=world.now,
    )
    known = tax_report(JANUARY)
    assert known.report.totals.unclassified == 0
    assert filing.digest_of(known) != filed.digest


def test_a_county_alone_is_not_the_whole_rate(jersey: Machine, world: World, owner: Person) -> None:
    Rate.objects.filter(jurisdiction__code="NJ").delete()
    Jurisdiction.objects.filter(code="NJ").delete()
    (line,) = tax_report(JANUARY).report.lines
    assert line.split.unclassified == Decimal("175.00")
    assert line.split.why[0].startswith("no rate of NJ is entered")


def test_a_machine_at_no_site_says_so(jersey: Machine) -> None:
    jersey.placements.all().delete()
    (line,) = tax_report(JANUARY).report.lines
    assert line.split.why == ("the machine stood at no site, or its site has no state",)


def test_a_file_with_another_rate_for_food_contradicts(world: World, owner: Person) -> None:
    first = b"12,45,12,0.06,0.06,0.02,0.02,20200101,29991231\n"
    tax_rules.load_rate_file(name="one", raw=first, actor=owner, now=world.now)
    other = first.replace(b"0.02,0.02", b"0.03,0.03")
    with pytest.raises(Unable, match=r"6 % \(3 % for food\) from 2020-01-01"):
        tax_rules.load_rate_file(name="two", raw=other, actor=owner, now=world.now)


def test_a_third_of_an_interval_is_the_same_cents_to_host_and_state(
    jersey: Machine, world: World
) -> None:
    """21.00 over three days, of which one lies in the month: 7.00 and not a cent less."""
    sales = Sales(jersey)
    sales.meter.sell("1", cash=100)  # as far as the fixture's meter had come
    sales.read(local(2026, 2, 28))
    sales.read(local(2026, 3, 3), cash_1=12)
    february = Period(date(2026, 2, 28), date(2026, 3, 1))
    (told,) = receipts(february.starts_on, february.ends_on)
    assert told.receipts == Decimal("7.00")
    assert tax_report(february, basis="days").report.totals.receipts == Decimal("7.00")


def test_what_else_a_machine_sells_is_not_guessed(world: World, owner: Person) -> None:
    """In Massachusetts nothing is due from a machine with snacks alone, all below 3.50."""
    tax_rules.load_packs(states=["MA"], actor=owner, now=world.now)
    rate("MA", "state", "0.0625", owner, world.now)
    machine = machine_at(world, "BAY-1", world.site("Bay Road", state="MA"), drinks(world))
    sales = Sales(machine)
    sales.read(local(2026, 1, 2, 9))
    sales.read(local(2026, 1, 12, 9), cash_1=3, cash_2=2)
    (drink, water) = SaleInterval.objects.filter(paid_units__gt=0).order_by("pk")

    def sums() -> tuple[Decimal, Decimal, Decimal]:
        found = tax_report(JANUARY).report.totals
        return found.exempt, found.taxable + found.tax_inside, found.unclassified

    whole, nothing = Decimal("8.75"), Decimal(0)
    assert sums() == (whole, nothing, nothing)
    SaleInterval.objects.filter(pk=water.pk).update(price_minor=None)
    assert sums() == (nothing, nothing, whole)
    SaleInterval.objects.filter(pk=water.pk).update(price_minor=350)
    assert sums() == (nothing, whole, nothing)
    # A product without a class might be no food.
    SaleInterval.objects.filter(pk=water.pk).update(price_minor=175)
    Product.objects.filter(pk=drink.set_up.product_id).update(sweetened=None)
    assert sums() == (nothing, nothing, whole)
