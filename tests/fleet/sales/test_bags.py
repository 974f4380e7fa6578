"""Counting bags: every count is kept, the last one holds."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction

from fleet.machines.models import Machine
from fleet.sales.actions.bags import count_bag, seal
from fleet.sales.models import Bag, BagCount
from fleet.sales.queries.bags import bag_for, bags_listed
from people.errors import NotFound, Unable, Unacceptable
from people.models import AuditEntry, Person
from tests.cast import NOW

pytestmark = pytest.mark.django_db


@pytest.fixture
def bag(lobby: Machine, driver: Person) -> Bag:
    return seal(seal_number="A-1", machine=lobby, sealed_at=NOW, actor=driver, now=NOW)


def counted(bag: Bag, amount: str, by: Person, **more: object) -> BagCount:
    given = {"counted_at": NOW + timedelta(hours=5), "now": NOW + timedelta(hours=5)} | more
    return count_bag(bag=bag, amount=Decimal(amount), actor=by, **given)  # type: ignore[arg-type]


def test_a_count_is_kept_with_who_and_when(
    bag: Bag, accountant: Person, dispatcher: Person
) -> None:
    kept = counted(bag, "41.25", accountant, second=dispatcher, note=" quarters by weight ")
    assert (kept.counted_by, kept.second, kept.note) == (
        accountant,
        dispatcher,
        "quarters by weight",
    )
    assert AuditEntry.objects.filter(object_type="sales.BagCount", verb="count bag").exists()


def test_the_count_recorded_last_holds(bag: Bag, accountant: Person) -> None:
    counted(bag, "41.25", accountant)
    counted(bag, "40.00", accountant, counted_at=NOW + timedelta(hours=1))
    (listed,) = bags_listed(waiting=False)
    assert listed.amount == Decimal(40)
    assert not bags_listed(waiting=True)


def test_what_cannot_be_is_refused(bag: Bag, accountant: Person) -> None:
    with pytest.raises(Unable) as refused:
        counted(bag, "1", accountant, counted_at=NOW - timedelta(minutes=1))
    assert refused.value.code == "counted_before_sealed"
    for wrong in ({"counted_at": NOW + timedelta(days=2)}, {"second": accountant}):
        with pytest.raises(Unacceptable):
            counted(bag, "1", accountant, **wrong)
    with pytest.raises(Unacceptable):
        counted(bag, "-1", accountant)
    assert not BagCount.objects.exists()


def test_a_count_is_never_changed(bag: Bag, accountant: Person) -> None:
    kept = counted(bag, "41.25", accountant)
    with pytest.raises(IntegrityError, match="counted again"), transaction.atomic():
        BagCount.objects.filter(pk=kept.pk).update(amount=1)
    with pytest.raises(IntegrityError, match="counted again"), transaction.atomic():
        kept.delete()


def test_drivers_find_no_bags(bag: Bag, driver: Person, accountant: Person) -> None:
    assert bag_for(accountant, bag.pk, write=True) == bag
    with pytest.raises(NotFound):
        bag_for(driver, bag.pk)
