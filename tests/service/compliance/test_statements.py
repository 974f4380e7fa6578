"""Statements of commission: what sites took, what hosts are promised of it, and what stands."""

import io
from datetime import date, timedelta
from decimal import Decimal
from itertools import pairwise
from typing import Any

import pytest
from django.db import DatabaseError, transaction
from pypdf import PdfReader

from fleet.machines.actions import machines as machine_actions
from fleet.machines.models import Machine, Product
from fleet.sales.actions import agreements, commission
from fleet.sales.actions.commission import UnableToIssue
from fleet.sales.models import Agreement, Statement
from fleet.sales.previews import digest_of, preview
from fleet.sales.queries.commission import owed, receipts, statements
from fleet.sales.tasks import mail_statement
from people.errors import Unable, Unacceptable
from people.models import AuditEntry, Person
from service.compliance import statements as run
from service.compliance.actions import tax_rules
from service.compliance.queries.tax import tax_of_machines
from service.compliance.sums.gathering import Period
from tests.service.compliance.taxed import Sales, drinks, local, machine_at, rate
from tests.world import World

pytestmark = pytest.mark.django_db
FEBRUARY = date(2026, 2, 10)
ISSUED = local(2026, 3, 2, 9)
STEPS = {
    "steps": [["0", "10"], ["500", "20"]],
    "minimum": "20",
    "base": ["tax"],
}


@pytest.fixture
def machine(world: World, owner: Person) -> Machine:
    """In Florida at 7 %, where 500 drinks at 1.75 are sold in February."""
    site = world.site("Palm Court", state="FL", county="Hale", host_name="Palm Court Inn")
    tax_rules.load_packs(states=["FL"], actor=owner, now=world.now)
    rate("FL", "state", "0.06", owner, world.now)
    county = rate("FL-00-00011", "county", "0.01", owner, world.now)
    tax_rules.place_site(site=site, jurisdiction=county, actor=owner, now=world.now)
    machine = machine_at(world, "LOB-1", site, drinks(world))
    sales = Sales(machine)
    sales.read(local(2026, 2, 2, 9))
    sales.read(local(2026, 2, 20, 9), cash_1=300, card_2=200)
    return machine


def agree(machine: Machine, by: Person, terms: dict[str, Any], **more: Any) -> Agreement:
    given = {
        "site": machine.placements.get().site,
        "starts_on": date(2026, 1, 1),
        "terms": terms,
    }
    return agreements.save_agreement(
        agreement=None, changes=given | more, actor=by, now=local(2026, 1, 1, 9)
    )


def issued(agreement: Agreement, by: Person, day: date = FEBRUARY, now: Any = ISSUED) -> Statement:
    (made,) = commission.issue(previews=[run.preview_of(agreement, day)], actor=by, now=now)
    return made


def test_steps_are_paid_on_receipts_less_the_tax(machine: Machine, owner: Person) -> None:
    found = run.preview_of(agree(machine, owner, STEPS), FEBRUARY)
    (line,) = found.reckoned.lines
    assert (found.starts_on, found.ends_on) == (date(2026, 2, 1), date(2026, 3, 1))
    assert line.receipts == Decimal("875.00")
    # Florida's divisor for 7 % on drinks, tests/checks/test_tax_florida.py; water is in it too.
    assert line.taken_off > 0
    base = Decimal("875.00") - line.taken_off
    expected = Decimal(50) + (base - 500) / 5
    assert found.reckoned.commission == round(expected, 2)
    assert found.reckoned.minimum_added == 0
    assert any("no tax advice" in one for one in found.reckoned.said)


def test_the_tax_taken_off_is_that_of_each_class(
    machine: Machine, world: World, owner: Person
) -> None:
    """Not the machine's tax by what each class took: the classes are taxed differently."""
    site = machine.placements.get().site
    cola = Product.objects.get(name="Cola")
    pen = world.product("Pen", cola.package, form="not_food")
    two = machine_at(world, "LOB-2", site, (cola, pen))
    sales = Sales(two, price=200)
    sales.read(local(2026, 2, 2, 9))
    sales.read(local(2026, 2, 20, 9), cash_1=300, cash_2=100)
    terms = {"shares": {"drink": "10", "": "5"}, "base": ["tax"]}
    found = run.preview_of(agree(machine, owner, terms), FEBRUARY)
    period = Period(found.starts_on, found.ends_on)
    of_machine = tax_of_machines(period, machines=[two.pk], basis="days")[two.pk]
    off = {
        line.product_class: line.taken_off
        for line in found.reckoned.lines
        if line.machine == "LOB-2"
    }
    # Florida's divisors for 7 %, tests/checks/test_tax_florida.py: of 600.00 for drinks 1.0726 and
    # of 200.00 for other goods 1.0749, by hand 40.61 and 13.94.
    assert off == {"drink": Decimal("40.61"), "not_food": Decimal("13.94")}
    assert sum(off.values()) == of_machine.tax


def test_a_period_covered_partly_owes_its_days_of_the_minimum(
    machine: Machine, owner: Person
) -> None:
    terms = {"shares": {"": "1"}, "minimum": "280"}
    agreement = agree(machine, owner, terms, starts_on=date(2026, 2, 15))
    found = run.preview_of(agreement, date(2026, 2, 20))
    # By hand: fourteen of February's 28 days, 10.00 each.
    assert found.reckoned.amount == Decimal("140.00")
    assert (
        "the agreement covers 14 of the 28 days of the period; the minimum of 280 is 140.00 for "
        "them" in found.reckoned.said
    )
    assert found.figures["said"] == list(found.reckoned.said)
    agreements.save_agreement(
        agreement=agreement,
        changes={"terms": terms | {"minimum_in_part": "whole"}},
        actor=owner,
        now=ISSUED,
    )
    whole = run.preview_of(agreement, date(2026, 2, 20))
    assert whole.reckoned.amount == Decimal("280.00")
    assert run.preview_of(agreement, date(2026, 3, 20)).reckoned.amount == Decimal("280.00")


def test_writing_down_what_terms_mean_anyway_changes_nothing(
    machine: Machine, owner: Person
) -> None:
    agreement = agree(machine, owner, STEPS)
    Agreement.objects.filter(pk=agreement.pk).update(terms=STEPS)
    agreement.refresh_from_db()
    issued(agreement, owner)
    changed = agreements.save_agreement(
        agreement=agreement,
        changes={"terms": STEPS | {"minimum_in_part": "days"}, "ends_on": date(2026, 6, 1)},
        actor=owner,
        now=ISSUED,
    )
    assert (changed.terms, changed.ends_on) == (STEPS, date(2026, 6, 1))
    with pytest.raises(Unable, match="begin another"):
        agreements.save_agreement(
            agreement=agreement,
            changes={"terms": STEPS | {"minimum_in_part": "whole"}},
            actor=owner,
            now=ISSUED,
        )


def test_what_no_rule_is_entered_for_is_said(machine: Machine, owner: Person) -> None:
    for row in tax_rules.TaxRule.objects.all():
        tax_rules.remove_rule(rule=row, why="to see", actor=owner, now=ISSUED)
    found = run.preview_of(agree(machine, owner, STEPS), FEBRUARY)
    assert found.reckoned.base == Decimal("875.00")
    assert any("No rule of tax is entered for 875.00" in one for one in found.reckoned.said)


def test_nobody_told_what_is_taken_off(machine: Machine, owner: Person) -> None:
    agreement = agree(machine, owner, STEPS)
    found = preview(agreement=agreement, starts_on=date(2026, 2, 1), ends_on=date(2026, 3, 1))
    assert "Not known and not taken off: tax." in found.reckoned.said


def test_the_parts_of_an_interval_add_up(machine: Machine, world: World, owner: Person) -> None:
    moved = local(2026, 2, 11, 13)
    machine_actions.place_machine(
        machine=machine, site=world.site("Annex"), starts_at=moved, actor=owner, now=ISSUED
    )
    days = [date(2026, 2, 1) + timedelta(days=3 * n) for n in range(10)]
    parts = [one for begins, ends in pairwise(days) for one in receipts(begins, ends)]
    assert sum(one.receipts for one in parts) == Decimal("875.00")
    assert len({one.site_id for one in parts}) == 2


def test_issued_figures_stand_though_reads_come_late(machine: Machine, owner: Person) -> None:
    agreement = agree(machine, owner, {"shares": {"": "10"}})
    made = issued(agreement, owner)
    assert (made.number, made.amount, made.due) == (1, Decimal("87.50"), Decimal("87.50"))
    assert made.digest == digest_of(Statement.objects.get(pk=made.pk).figures)
    assert AuditEntry.objects.filter(verb="issue statement").count() == 1
    with pytest.raises(UnableToIssue, match="statement 1 tells of 2026-02-01"):
        issued(agreement, owner)
    with pytest.raises(DatabaseError, match="never changed"), transaction.atomic():
        Statement.objects.filter(pk=made.pk).update(due=1, amount=1, commission=1)
    with pytest.raises(DatabaseError, match="never changed"), transaction.atomic():
        Statement.objects.filter(pk=made.pk).delete()


def test_a_correction_is_carried_once(machine: Machine, owner: Person) -> None:
    agreement = agree(machine, owner, {"shares": {"": "10"}, "minimum": "20"})
    first = issued(agreement, owner)
    wrong = commission.correct(
        statement=first, amount=Decimal("-2.50"), reason="counted twice", actor=owner, now=ISSUED
    )
    assert owed()["waiting"] == Decimal("-2.50")
    with pytest.raises(Unacceptable, match=r"tells of 85\.00 with its corrections"):
        commission.correct(
            statement=first, amount=Decimal("-85.01"), reason="typed", actor=owner, now=ISSUED
        )
    second = issued(agreement, owner, date(2026, 3, 5), local(2026, 4, 1, 9))
    wrong.refresh_from_db()
    assert wrong.carried_on == second
    # March sold nothing: the minimum, less what was corrected.
    assert (second.amount, second.carried, second.due) == (20, Decimal("-2.5"), Decimal("17.5"))
    third = issued(agreement, owner, date(2026, 4, 5), local(2026, 5, 1, 9))
    assert third.carried == 0


def test_payments_stop_at_what_is_owed(machine: Machine, owner: Person) -> None:
    made = issued(agree(machine, owner, {"shares": {"": "10"}}), owner)
    given = {"statement": made, "paid_on": ISSUED.date(), "actor": owner, "now": ISSUED}
    commission.pay(amount=Decimal("80.00"), **given)
    assert statements().get().open == Decimal("7.50")
    with pytest.raises(Unacceptable, match=r"owed 7\.50 yet"):
        commission.pay(amount=Decimal("7.51"), **given)
    with pytest.raises(Unacceptable, match="future"):
        commission.pay(amount=Decimal(1), **(given | {"paid_on": date(2026, 3, 9)}))
    commission.pay(amount=Decimal("7.50"), **given)
    assert owed()["open"] == 0


def test_what_cannot_be_agreed_or_issued(machine: Machine, owner: Person) -> None:
    for terms, said in (
        ({"shares": {"lava": "3"}}, "no such class"),
        ({"shares": {"": "101"}}, "percent from 0 to 100"),
        ({"shares": {"": 12.5}}, "as text"),
        ({"base": ["weather"]}, "cannot be taken off"),
        ({"steps": [["9", "1"], ["8", "2"]]}, "not above the step before"),
        ({}, "pay something"),
        ({"minimum": "5", "minimum_in_part": "half"}, "give days or whole"),
    ):
        with pytest.raises(Unacceptable, match=said):
            agree(machine, owner, terms)
    agreement = agree(machine, owner, {"shares": {"": "10"}})
    with pytest.raises(Unable, match=r"another agreement|on some of these days"):
        agree(machine, owner, {"shares": {"": "10"}}, starts_on=date(2026, 5, 1))
    with pytest.raises(UnableToIssue, match="ends on 2026-04-01"):
        issued(agreement, owner, date(2026, 3, 5))
    issued(agreement, owner)
    with pytest.raises(Unable, match="begin another"):
        agreements.save_agreement(
            agreement=agreement, changes={"terms": {"minimum": "1"}}, actor=owner, now=ISSUED
        )


def test_the_run_issues_what_is_not_issued(machine: Machine, owner: Person) -> None:
    agree(machine, owner, {"shares": {"drink": "10"}})
    given = {"rhythm": "monthly", "day": FEBRUARY, "actor": owner, "now": ISSUED}
    assert [one.amount for one in run.run_statements(**given)] == [Decimal("87.50")]
    assert run.run_statements(**given) == []


def test_the_letter_leaves_once_with_the_paper(
    machine: Machine,
    owner: Person,
    mailoutbox: list[Any],
    django_capture_on_commit_callbacks: Any,
) -> None:
    made = issued(agree(machine, owner, STEPS), owner)
    with pytest.raises(Unable, match="no e-mail address"):
        commission.send(statement=made, actor=owner, now=ISSUED)
    site = made.site
    site.host_email = "host@example.org"
    site.save()
    with django_capture_on_commit_callbacks() as left:
        commission.send(statement=made, actor=owner, now=ISSUED)
    assert len(left) == 1
    assert mail_statement(made.pk) is True
    assert mail_statement(made.pk) is False
    (letter,) = mailoutbox
    assert letter.to == ["host@example.org"]
    ((name, data, kind),) = letter.attachments
    assert (name, kind) == ("statement-1.pdf", "application/pdf")
    words = "".join(page.extract_text() for page in PdfReader(io.BytesIO(data)).pages)
    for told in ("Palm Court Inn", "$875.00", "LOB-1", f"{made.due:.2f}"):
        assert told in words
    with pytest.raises(Unable, match="was mailed"):
        commission.send(statement=made, actor=owner, now=ISSUED)
