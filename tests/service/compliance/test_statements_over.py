"""Statements that corrections bring below nothing: carried over once, and what is owed adds up."""

import io
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from django.db import DatabaseError, transaction
from django.db.models import F, Sum
from django.test import Client
from django.urls import reverse
from pypdf import PdfReader

from fleet.sales import money_tables
from fleet.sales.actions import agreements, commission
from fleet.sales.actions.commission import UnableToIssue
from fleet.sales.models import Agreement, Statement, StatementCorrection
from fleet.sales.papers import statement_paper
from fleet.sales.previews import digest_of
from fleet.sales.queries.commission import owed, statements
from people.errors import Unacceptable
from people.models import Business, Person
from people.papers import as_pdf
from service.compliance import statements as run
from tests.service.compliance.taxed import Sales, drinks, local, machine_at
from tests.world import World

pytestmark = pytest.mark.django_db
LATER = local(2027, 1, 5, 9)
MINIMUM = {"minimum": "20"}


def agree(world: World, by: Person, **more: Any) -> Agreement:
    given = {"starts_on": date(2026, 1, 1), "terms": MINIMUM}
    if "site" not in more:
        given["site"] = world.site("Palm Court")
    return agreements.save_agreement(agreement=None, changes=given | more, actor=by, now=LATER)


def issued(row: Agreement, by: Person, month: int) -> Statement:
    (made,) = commission.issue(
        previews=[run.preview_of(row, date(2026, month, 10))], actor=by, now=LATER
    )
    return statements().get(pk=made.pk)


def correct(statement: Statement, amount: str, by: Person) -> StatementCorrection:
    return commission.correct(
        statement=statement, amount=Decimal(amount), reason="counted twice", actor=by, now=LATER
    )


def adds_up() -> None:
    """What was told to hosts is what they were paid, or is open, over all statements."""
    told = Statement.objects.aggregate(sum=Sum(F("amount") + F("carried")))["sum"]
    standing = sum(one.paid + one.open for one in statements())
    assert standing == told == owed()["due"] == owed()["paid"] + owed()["open"]


def test_what_is_below_nothing_comes_off_the_next_once(
    world: World, accountant: Person, client: Client
) -> None:
    row = agree(world, accountant)
    first, second = issued(row, accountant, 1), issued(row, accountant, 2)
    correct(first, "-20", accountant)
    correct(second, "-15", accountant)
    third = issued(row, accountant, 3)
    # By hand: the minimum of 20 less 35.
    assert (third.amount, third.carried, third.due, third.open) == (20, -35, -15, -15)
    assert owed()["over"] == -15
    adds_up()
    with pytest.raises(Unacceptable, match=r"owed 0\.00 yet"):
        commission.pay(
            statement=third, amount=Decimal(1), paid_on=LATER.date(), actor=accountant, now=LATER
        )
    seen = run.preview_of(row, date(2026, 4, 10))
    assert (seen.owing.carried_over, seen.due) == (-15, 5)
    assert any("minimum is of what this period earns" in one for one in seen.reckoned.said)
    fourth = issued(row, accountant, 4)
    third = statements().get(pk=third.pk)
    assert (fourth.carried_over, fourth.due, fourth.open) == (-15, 5, 5)
    assert (third.carried_over_on, third.due, third.open) == (fourth, -15, 0)
    assert fourth.digest == digest_of(Statement.objects.get(pk=fourth.pk).figures)
    assert fourth.figures["carried_over"] == [{"of_statement": 3, "amount": "-15.0000"}]
    assert issued(row, accountant, 5).carried_over == 0
    commission.pay(
        statement=fourth, amount=Decimal(5), paid_on=LATER.date(), actor=accountant, now=LATER
    )
    adds_up()
    assert owed()["over"] == 0
    paper = as_pdf(statement_paper(fourth))
    words = "".join(page.extract_text() for page in PdfReader(io.BytesIO(paper.content)).pages)
    assert "Carried over from statement 3" in words
    assert f"{fourth.starts_on.day} {fourth.starts_on:%B %Y} to 30 " in " ".join(words.split())
    rows = list(money_tables.statement(fourth, Business.the().time_zone).rows)
    assert rows[-2][0] == "carried over from statement 3"
    assert sum(one[-1] for one in rows[:-1]) == rows[-1][-1] == 5
    client.force_login(accountant)
    for one, said in (
        (fourth, "Carried over from statement 3"),
        (third, ">statement 4</a>, which takes it off"),
    ):
        assert said in client.get(reverse("office:statement", args=[one.pk])).content.decode()
    assert "carried over on 4" in client.get(reverse("office:commission")).content.decode()


def test_an_agreement_that_follows_carries_what_the_one_before_left(
    world: World, accountant: Person
) -> None:
    row = agree(world, accountant, ends_on=date(2026, 3, 15))
    first, second = issued(row, accountant, 1), issued(row, accountant, 2)
    correct(first, "-20", accountant)
    correct(second, "-20", accountant)
    third = agreements.save_agreement(
        agreement=None,
        changes={"site": row.site, "starts_on": date(2026, 3, 15), "terms": MINIMUM},
        actor=accountant,
        now=LATER,
    )
    # Two statements of one site in one run: the first alone carries the corrections.
    made = run.run_statements(rhythm="monthly", day=date(2026, 3, 2), actor=accountant, now=LATER)
    assert [one.carried for one in made] == [-40, 0]
    assert [one.agreement for one in made] == [row, third]
    adds_up()
    fourth = issued(third, accountant, 4)
    assert fourth.carried_over == made[0].due < 0
    assert fourth.due == 20 + made[0].due
    adds_up()


def test_what_was_carried_over_is_not_carried_again(world: World, accountant: Person) -> None:
    row = agree(world, accountant)
    first, second = issued(row, accountant, 1), issued(row, accountant, 2)
    correct(first, "-20", accountant)
    correct(second, "-15", accountant)
    third = issued(row, accountant, 3)
    assert third.due < 0
    stale = run.preview_of(row, date(2026, 5, 10))
    issued(row, accountant, 4)
    with pytest.raises(UnableToIssue, match="carried over meanwhile") as refused:
        commission.issue(previews=[stale], actor=accountant, now=LATER)
    assert refused.value.code == "changed_meanwhile"
    both = [run.preview_of(row, date(2026, month, 10)) for month in (5, 6)]
    with pytest.raises(UnableToIssue, match="one statement of an agreement"):
        commission.issue(previews=both, actor=accountant, now=LATER)
    third.refresh_from_db()
    for value in (None, first):
        with pytest.raises(DatabaseError, match="never changed"), transaction.atomic():
            Statement.objects.filter(pk=third.pk).update(carried_over_on=value)
    with pytest.raises(DatabaseError, match="carried_over_on_another"), transaction.atomic():
        Statement.objects.filter(pk=first.pk).update(carried_over_on=third)


def test_a_correction_upward_stays_within_the_receipts(world: World, accountant: Person) -> None:
    site = world.site("Palm Court")
    sales = Sales(machine_at(world, "LOB-1", site, drinks(world)))
    sales.read(local(2026, 2, 2, 9))
    sales.read(local(2026, 2, 12, 9), cash_1=40)
    row = agree(world, accountant, site=site, terms={"shares": {"": "10"}})
    made = issued(row, accountant, 2)
    assert (made.receipts, made.amount) == (70, 7)
    with pytest.raises(Unacceptable, match=r"limit is 70\.00.*give at most 63\.00") as refused:
        correct(made, "63.01", accountant)
    assert set(refused.value.fields) == {"amount"}
    assert not made.corrections.exists()
    correct(made, "60", accountant)
    correct(made, "-10", accountant)
    with pytest.raises(Unacceptable, match=r"tells of 57\.00.*give at most 13\.00"):
        correct(made, "6300", accountant)
    # What was read late may be told, though the statement knew nothing of it.
    sales.read(local(2026, 2, 20, 9), cash_1=40)
    correct(made, "80", accountant)
    with pytest.raises(Unacceptable, match=r"limit is 140\.00.*give at most 3\.00"):
        correct(made, "4", accountant)


def test_a_minimum_above_the_receipts_is_not_raised(world: World, accountant: Person) -> None:
    made = issued(agree(world, accountant), accountant, 1)
    correct(made, "-20", accountant)
    with pytest.raises(Unacceptable, match=r"limit is 20\.00.*give at most 20\.00"):
        correct(made, "20.01", accountant)
    correct(made, "20", accountant)
