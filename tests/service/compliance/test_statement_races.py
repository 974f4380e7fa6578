"""Two people who issue one period at once, or whose numbers are given out together."""

from datetime import date
from decimal import Decimal

import pytest

from fleet.sales.actions import agreements, commission
from fleet.sales.actions.commission import UnableToIssue
from fleet.sales.models import Agreement, Statement, StatementCorrection
from people.errors import Unable
from people.models import AuditEntry, Person
from service.compliance import statements as run
from tests.races import at_once
from tests.service.compliance.taxed import local
from tests.world import World

pytestmark = pytest.mark.django_db(transaction=True)
FEBRUARY = date(2026, 2, 10)
ISSUED = local(2026, 3, 2, 9)


def agreed(world: World, owner: Person, *names: str) -> list[Agreement]:
    return [
        agreements.save_agreement(
            agreement=None,
            changes={
                "site": world.site(name),
                "starts_on": date(2026, 1, 1),
                "terms": {"minimum": "20"},
            },
            actor=owner,
            now=ISSUED,
        )
        for name in names
    ]


def test_one_period_issued_twice_at_once_is_one_statement(
    world: World, owner: Person, accountant: Person
) -> None:
    (row,) = agreed(world, owner, "Palm Court")
    first = commission.issue(
        previews=[run.preview_of(row, date(2026, 1, 10))], actor=owner, now=ISSUED
    )
    commission.correct(
        statement=first[0], amount=Decimal(-5), reason="counted twice", actor=owner, now=ISSUED
    )
    seen = run.preview_of(row, FEBRUARY)
    found = at_once(
        *(
            lambda by=by: commission.issue(  # type: ignore[misc]
                previews=[seen], actor=by, now=ISSUED
            )
            for by in (owner, accountant, owner, accountant)
        )
    )
    refused = [one for one in found if isinstance(one, UnableToIssue)]
    assert [one.code for one in refused] == ["already_issued"] * 3
    made = Statement.objects.get(starts_on=date(2026, 2, 1))
    assert (made.number, made.due) == (2, 15)
    assert StatementCorrection.objects.get().carried_on == made
    assert AuditEntry.objects.filter(verb="issue statement").count() == 2


def test_numbers_given_out_at_once_are_each_of_one_statement(world: World, owner: Person) -> None:
    rows = agreed(world, owner, "Palm Court", "Elm Hall", "Oak House", "Pier Nine")
    seen = [run.preview_of(row, FEBRUARY) for row in rows]
    found = at_once(
        *(
            lambda one=one: commission.issue(  # type: ignore[misc]
                previews=[one], actor=owner, now=ISSUED
            )
            for one in seen
        )
    )
    assert not [one for one in found if isinstance(one, Unable)]
    numbers = Statement.objects.order_by("number").values_list("number", flat=True)
    assert list(numbers) == [1, 2, 3, 4]


def test_two_runs_of_one_period_issue_each_site_once(world: World, owner: Person) -> None:
    agreed(world, owner, "Palm Court", "Elm Hall")
    found = at_once(
        *[lambda: run.run_statements(rhythm="monthly", day=FEBRUARY, actor=owner, now=ISSUED)] * 2
    )
    # Whoever comes second either finds all issued, or is told so.
    assert sorted(1 if isinstance(one, UnableToIssue) else len(one) for one in found)[-1] == 2
    assert Statement.objects.count() == 2


def test_two_payments_at_once_pay_no_more_than_is_owed(world: World, owner: Person) -> None:
    (row,) = agreed(world, owner, "Palm Court")
    (made,) = commission.issue(previews=[run.preview_of(row, FEBRUARY)], actor=owner, now=ISSUED)
    found = at_once(
        *[
            lambda: commission.pay(
                statement=made, amount=Decimal(20), paid_on=ISSUED.date(), actor=owner, now=ISSUED
            )
        ]
        * 3
    )
    assert sorted(isinstance(one, Unable) for one in found) == [False, True, True]
    assert sum(one.amount for one in made.payments.all()) == 20
