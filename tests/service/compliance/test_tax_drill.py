"""Lines of a report of tax lead to machines and sale intervals that add up to them exactly."""

from collections.abc import Iterator
from datetime import date
from decimal import Decimal

import pytest

from fleet.machines.actions import machines
from fleet.machines.models import Machine
from fleet.sales.actions.bags import seal
from people.models import Person
from service.compliance.actions import tax_rules
from service.compliance.models import TaxRule
from service.compliance.queries.tax import TaxReport, tax_report, unit
from service.compliance.queries.tax_drill import LineOfMachine, line_of_machine, machines_of_line
from service.compliance.sums.gathering import Period
from service.compute.tax.report import Line, by_key
from tests.service.compliance.taxed import Sales, drinks, local, machine_at, rate
from tests.world import World

pytestmark = pytest.mark.django_db
FEBRUARY = Period(date(2026, 2, 1), date(2026, 3, 1))
JANUARY = Period(date(2026, 1, 1), date(2026, 2, 1))


@pytest.fixture
def florida(world: World, owner: Person) -> Machine:
    site = world.site("Palm Court", state="FL", county="Hale")
    tax_rules.load_packs(states=["FL", "NJ"], actor=owner, now=world.now)
    rate("FL", "state", "0.06", owner, world.now)
    rate("NJ", "state", "0.06625", owner, world.now)
    county = rate("FL-00-00011", "county", "0.01", owner, world.now)
    rate("FL-00-00011", "county", "0.015", owner, world.now, begins=date(2026, 2, 11))
    tax_rules.place_site(site=site, jurisdiction=county, actor=owner, now=world.now)
    return machine_at(world, "LOB-1", site, drinks(world))


def looked_into(made: TaxReport) -> Iterator[tuple[Line, LineOfMachine]]:
    """Every line with every machine of it."""
    for line in made.report.lines:
        for machine in machines_of_line(line):
            yield (
                line,
                line_of_machine(
                    line,
                    machine,
                    made.gathered.period,
                    basis=made.gathered.basis,
                    rounding=made.report.rounding,
                ),
            )


def adds_up(made: TaxReport) -> Decimal:
    """Machines add up to lines, sale intervals to machines, and lines to the report."""
    receipts = dict.fromkeys(made.report.lines, Decimal(0))
    for line, found in looked_into(made):
        assert found.receipts == machines_of_line(line)[found.machine_id]
        receipts[line] += found.receipts
    assert all(line.split.receipts == all_of for line, all_of in receipts.items())
    whole = sum(receipts.values(), Decimal(0))
    assert whole == made.report.totals.receipts
    parts = by_key(made.report, unit()).values()
    assert sum((one.receipts for one in parts), Decimal(0)) == whole
    assert sum((one.tax for one in parts), Decimal(0)) == made.report.totals.tax
    return whole


def busy(world: World, owner: Person, machine: Machine) -> None:
    """Three reads over a change of rates, a move to another state and the end of a period."""
    jersey = world.site("Dune Street", state="NJ")
    machines.place_machine(
        machine=machine, site=jersey, starts_at=local(2026, 2, 16, 11), actor=owner, now=world.now
    )
    sales = Sales(machine, price=133)
    sales.read(local(2026, 1, 25, 8))
    sales.read(local(2026, 2, 19, 7, 13), cash_1=101, card_2=37)
    sales.read(local(2026, 2, 26, 9), cash_2=5, card_1=2)
    seal(
        seal_number="A1",
        machine=machine,
        sealed_at=local(2026, 2, 19, 7),
        actor=owner,
        now=world.now,
    )


@pytest.mark.parametrize("basis", ["read", "days", "collection"])
def test_the_parts_add_up(florida: Machine, world: World, owner: Person, basis: str) -> None:
    busy(world, owner, florida)
    made = tax_report(FEBRUARY, basis=basis)
    states = {line.state for line in made.report.lines}
    assert states == {"FL", "NJ"}
    assert len({line.split.rate for line in made.report.lines}) == 3
    assert adds_up(made) > 0
    for state in states:
        adds_up(tax_report(FEBRUARY, state=state, basis=basis))


def test_a_state_is_a_part_of_all(florida: Machine, world: World, owner: Person) -> None:
    busy(world, owner, florida)
    whole = tax_report(FEBRUARY, basis="days").report
    of_states = [
        line
        for state in ("FL", "NJ")
        for line in tax_report(FEBRUARY, state=state, basis="days").report.lines
    ]
    assert of_states == list(whole.lines)


def test_what_is_unclassified_adds_up_too(florida: Machine, world: World, owner: Person) -> None:
    for row in TaxRule.objects.filter(state="FL"):
        tax_rules.remove_rule(rule=row, why="to see", actor=owner, now=world.now)
    busy(world, owner, florida)
    made = tax_report(FEBRUARY, basis="days")
    assert made.report.totals.unclassified > 0
    adds_up(made)


def test_what_was_cut_says_so(florida: Machine, world: World, owner: Person) -> None:
    busy(world, owner, florida)
    found = [one for _, one in looked_into(tax_report(FEBRUARY, basis="days"))]
    cut = {(part.sale.interval.ends_at.day, part.is_cut) for one in found for part in one.parts}
    assert cut == {(19, True), (26, False)}
    assert {part.sale.interval.to_read.machine for one in found for part in one.parts} == {florida}


def test_an_interval_without_length_falls_into_one_period(florida: Machine) -> None:
    """Two reads at the same moment, where one month ends and the next begins."""
    sales = Sales(florida)
    sales.read(local(2026, 1, 20, 0))
    sales.read(local(2026, 2, 1, 0), cash_1=3)
    line = florida.intervals.get()
    florida.intervals.filter(pk=line.pk).update(starts_at=line.ends_at)
    january = adds_up(tax_report(JANUARY, basis="days"))
    february = adds_up(tax_report(FEBRUARY, basis="days"))
    assert (january, february) == (Decimal(0), Decimal("5.25"))
    assert adds_up(tax_report(Period(date(2026, 1, 1), date(2026, 3, 1)), basis="days")) == Decimal(
        "5.25"
    )
