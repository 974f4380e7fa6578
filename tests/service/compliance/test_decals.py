"""Decals in lieu of tax: counted by machine, cited, asked for as a duty, and known where bought.

93 dollars a machine at 25 cents or more, 15 below it: Ark. Code 26-57-1206.
"""

from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from fleet.machines.models import Machine
from people.models import Person
from service.compliance.actions import duties, duty_rules, tax_rules
from service.compliance.models import Duty, DutyRule, TaxRule
from service.compliance.queries.decals import held
from service.compliance.queries.tax import tax_report
from service.compliance.tax_tables import HEAD, how_paper, report_paper, report_table
from service.compute.tax.report import figures
from tests.service.compliance.taxed import Sales, drinks, local, machine_at
from tests.service.compliance.test_tax_report import FEBRUARY
from tests.world import World

pytestmark = pytest.mark.django_db


@pytest.fixture
def arkansas(world: World, owner: Person) -> list[Machine]:
    """Two machines at 1.75 and one at 20 cents, each of which sold something in February."""
    tax_rules.load_packs(states=["AR"], actor=owner, now=world.now)
    site = world.site("Levee Road", state="AR", purpose="host")
    goods = drinks(world)
    machines = [machine_at(world, f"AR-{n}", site, goods) for n in range(3)]
    for machine, price in zip(machines, (175, 175, 20), strict=True):
        sales = Sales(machine, price=price)
        sales.read(local(2026, 2, 2, 9))
        sales.read(local(2026, 2, 20, 9), cash_1=4)
    return machines


def said() -> dict[str, Any]:
    return figures(tax_report(FEBRUARY, state="AR").report)


def test_a_decal_a_machine_with_its_source(arkansas: list[Machine]) -> None:
    found = held(said(), FEBRUARY)
    assert [(one.machines, one.each, one.amount, one.on_record) for one in found] == [
        (2, Decimal(93), Decimal(186), 0),
        (1, Decimal(15), Decimal(15), 0),
    ]
    assert {one.citation for one in found} == {"Ark. Code 26-57-1204, -1206"}
    assert found[0].without == tuple(arkansas[:2])


def test_decals_stand_on_paper_and_in_the_sheet(arkansas: list[Machine]) -> None:
    told = said()
    paper = report_paper(told, FEBRUARY, "read", title="AR")
    (section,) = [one for one in paper.sections if "decals" in one.heading]
    assert [row[2:5] for row in section.rows] == [
        [2, Decimal(93), Decimal(186)],
        [1, Decimal(15), Decimal(15)],
    ]
    how = how_paper(told, FEBRUARY, "read", title="AR")
    assert any(
        "2 machines x 93 a machine and year = 186; in no tax above" in one.said
        for one in how.sections
    )
    rows = report_table(told, "AR").rows
    decals = [row for row in rows if row[HEAD.index("Class")] == "yearly decals"]
    assert [row[HEAD.index("Source")] for row in decals] == ["Ark. Code 26-57-1204, -1206"] * 2
    assert {row[HEAD.index("Tax due")] for row in decals} == {""}


def test_a_rule_that_goes_by_decals_asks_for_them(
    arkansas: list[Machine], world: World, owner: Person
) -> None:
    """The duty comes with the rule of tax and goes with the last of them."""
    rule = DutyRule.objects.get(key="ar-decal")
    assert (rule.active, rule.every_months) == (True, 12)
    duty_rules.save_rule(rule=rule, changes={"notice_days": 45}, actor=owner, now=world.now)
    open_ones = Duty.objects.filter(rule=rule, state=Duty.State.OPEN)
    assert {one.machine for one in open_ones} == set(arkansas)
    first = open_ones.get(machine=arkansas[0])
    duties.record(
        duties=[first],
        seen=duties.Seen(done_on=date(2026, 1, 10), valid_until=date(2026, 12, 31), number="A-1"),
        actor=owner,
        now=world.now,
    )
    dear = held(said(), FEBRUARY)[0]
    assert (dear.on_record, dear.without) == (1, (arkansas[1],))
    for row in TaxRule.objects.filter(state="AR"):
        tax_rules.remove_rule(rule=row, why="we pay on purchases", actor=owner, now=world.now)
    rule.refresh_from_db()
    assert (rule.active, rule.notice_days) == (False, 45)
    assert not Duty.objects.filter(rule=rule, state=Duty.State.OPEN).exists()


def test_a_state_without_a_pack_gets_a_duty_by_the_rule(world: World, owner: Person) -> None:
    tax_rules.save_rule(
        data={
            "key": "ks-decal",
            "state": "KS",
            "title": "A decal",
            "shape": "decal",
            "decal": "20",
            "citation": "a letter",
            "status": "secondary",
        },
        why="it came",
        actor=owner,
        now=world.now,
    )
    rule = DutyRule.objects.get(key="ks-decal")
    assert (rule.citation, rule.status, rule.kind) == ("a letter", "secondary", "decal")
