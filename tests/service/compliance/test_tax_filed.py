"""A return that was filed: reckoned anew, filed and amended by two at once, never changed."""

from datetime import datetime
from decimal import Decimal
from functools import partial

import pytest

from fleet.machines.models import Machine
from people.errors import Unable
from people.models import Person
from service.compliance.actions import filing, tax_rules
from service.compliance.models import Filing, TaxRule
from service.compliance.queries.filing import recomputed
from tests.races import at_once
from tests.service.compliance.taxed import Sales, local
from tests.service.compliance.test_tax_report import JANUARY
from tests.world import World


@pytest.mark.django_db(transaction=True)
def test_two_file_one_period_and_two_amend_it(florida: Machine, owner: Person) -> None:
    sales = Sales(florida)
    sales.read(local(2026, 1, 2, 9))
    sales.read(local(2026, 1, 12, 9), cash_1=100)

    def file(now: datetime) -> Filing:
        return filing.file_period(state="FL", period=JANUARY, actor=owner, now=now)

    outcomes = at_once(partial(file, local(2026, 2, 5, 9)), partial(file, local(2026, 2, 5, 9, 1)))
    (filed,) = [one for one in outcomes if isinstance(one, Filing)]
    (refused,) = [one for one in outcomes if isinstance(one, Unable)]
    assert refused.code == "filed_before"
    assert Filing.objects.count() == 1

    sales.read(local(2026, 1, 30, 9), received=local(2026, 2, 20, 9), cash_1=40)

    def amend(note: str) -> Filing:
        return filing.amend(filing=filed, actor=owner, now=local(2026, 2, 21, 9), note=note)

    outcomes = at_once(partial(amend, "a late read"), partial(amend, "one came late"))
    (amended,) = [one for one in outcomes if isinstance(one, Filing)]
    (refused,) = [one for one in outcomes if isinstance(one, Unable)]
    assert refused.code == "amended_before"
    assert Filing.objects.filter(amends=filed).get() == amended
    filed.refresh_from_db()
    assert (filed.receipts, amended.receipts) == (Decimal("175.00"), Decimal("245.00"))


@pytest.mark.django_db
def test_a_return_reckoned_anew_says_where_it_differs(
    florida: Machine, world: World, owner: Person
) -> None:
    """Figures other than those that the kept inputs give are told one by one; nothing is saved."""
    sales = Sales(florida)
    sales.read(local(2026, 1, 2, 9))
    sales.read(local(2026, 1, 12, 9), cash_1=100)
    filed = filing.file_period(state="FL", period=JANUARY, actor=owner, now=local(2026, 2, 5, 9))
    assert recomputed(filed).differs == ()
    filed.figures["totals"]["tax"] = "11.84"
    filed.figures["due"]["FL"] = "0.01"
    found = recomputed(filed)
    assert not found.is_same
    assert found.digest_holds
    assert [(one.where, one.figure, one.was, one.again) for one in found.differs] == [
        ("all", "tax", "11.84", "11.85"),
        ("due", "FL", "0.01", found.differs[1].again),
    ]
    filed.digest = "0" * 64
    assert not recomputed(filed).digest_holds
    # What the books say now is not asked: rules that are gone change no return.
    for row in TaxRule.objects.all():
        tax_rules.remove_rule(rule=row, why="to see", actor=owner, now=world.now)
    assert recomputed(Filing.objects.get(pk=filed.pk)).is_same
