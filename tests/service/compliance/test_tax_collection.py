"""Receipts by collection where a board tells cash and cards in its totals alone."""

from datetime import date
from decimal import Decimal

import pytest

from fleet.machines.models import Machine
from fleet.sales.actions.bags import seal
from fleet.sales.models import SaleInterval
from people.models import Person
from service.compliance.queries.tax import Period, tax_report
from tests.world import World

from .taxed import Sales, local

pytestmark = pytest.mark.django_db
JANUARY = Period(date(2026, 1, 1), date(2026, 2, 1))
FEBRUARY = Period(date(2026, 2, 1), date(2026, 3, 1))
WHOLE = Period(date(2026, 1, 1), date(2026, 3, 1))


def receipts(period: Period, basis: str) -> Decimal:
    totals = tax_report(period, basis=basis).report.totals
    assert totals.unclassified == 0
    return totals.receipts


@pytest.fixture
def sold(florida: Machine, owner: Person, world: World) -> Machine:
    """Sold until 20 January: 30 for cash and 10 for cards; until 30 January: 8 and 2. One bag was
    sealed with the first of these reads, one in February with nothing sold since."""
    sales = Sales(florida, price=135)
    sales.meter.tells_payment = False
    sales.read(local(2026, 1, 2, 0))
    sales.read(local(2026, 1, 20, 0), cash_1=20, cash_2=10, card_2=10)
    sales.read(local(2026, 1, 30, 0), cash_1=8, card_2=2)
    sales.read(local(2026, 2, 9, 0))
    for number, day in (("T-1", local(2026, 1, 20, 0)), ("T-2", local(2026, 2, 9, 0))):
        seal(machine=florida, seal_number=number, sealed_at=day, actor=owner, now=world.now)
    lines = SaleInterval.objects.filter(interval__machine=florida, paid_units__gt=0)
    assert {line.cash_minor for line in lines} == {None}
    return florida


def test_cash_that_totals_tell_is_not_counted_twice(sold: Machine) -> None:
    assert receipts(WHOLE, "read") == Decimal("67.50")  # 50 at 1.35
    assert receipts(WHOLE, "collection") == Decimal("67.50")


def test_the_split_of_the_totals_is_shared_over_the_lines(sold: Machine) -> None:
    # January has the first bag's 30 and the cards of both reads; the second bag has the 8.
    assert receipts(JANUARY, "collection") == Decimal("56.70")  # 42 at 1.35
    assert receipts(FEBRUARY, "collection") == Decimal("10.80")  # 8 at 1.35
