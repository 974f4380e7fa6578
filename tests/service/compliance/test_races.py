"""Two people at once over food, duties and recalls: one acts, the other is told."""

from datetime import date, timedelta
from decimal import Decimal

import pytest

from fleet.machines.models import Machine, Product
from people.errors import Unable
from people.models import Person
from service.compliance.actions import duties, recalls, temperatures
from service.compliance.actions.duties import Seen
from service.compliance.actions.errors import RecallOpenAlready
from service.compliance.models import Duty, DutyDone, FoodLock, Recall
from service.watch.models import Finding
from tests.cast import NOW
from tests.races import at_once
from tests.service.compliance.test_duties import by_hand

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def cold(lobby: Machine) -> Machine:
    """The lobby's tea is food that is kept cold."""
    Product.objects.filter(name="Tea").update(kept_cold_or_hot=True)
    return lobby


def refused(found: list[object]) -> list[bool]:
    return sorted(isinstance(one, Unable) for one in found)


def lock(machine: Machine, by: Person) -> FoodLock:
    return temperatures.lock_by_hand(
        machine=machine, what="fan stands still", at=NOW, actor=by, now=NOW
    )


def test_a_machine_is_locked_once_and_let_go_once(
    cold: Machine, driver: Person, dispatcher: Person
) -> None:
    found = at_once(lambda: lock(cold, driver), lambda: lock(cold, dispatcher))
    assert refused(found) == [False, True]
    (held,) = FoodLock.objects.all()
    (finding,) = Finding.objects.all()
    assert held.finding == finding
    later = NOW + timedelta(hours=1)

    def lift(by: Person) -> FoodLock:
        return temperatures.lift(
            lock=held, serviced_at=NOW, restocked_at=NOW, said="fan changed", actor=by, now=later
        )

    found = at_once(lambda: lift(driver), lambda: lift(dispatcher))
    assert refused(found) == [False, True]
    (held,) = FoodLock.objects.all()
    assert held.lifted_by in (driver, dispatcher)
    finding.refresh_from_db()
    assert finding.state == Finding.State.RECOVERED


def test_a_hand_and_a_reading_lock_a_machine_once(
    cold: Machine, driver: Person, dispatcher: Person
) -> None:
    """Without the database's one open lock a machine, each would write its own."""
    temperatures.take_reading(
        machine=cold,
        what="cabinet_c",
        value=Decimal(4),
        at=NOW - timedelta(hours=2),
        actor=driver,
        now=NOW,
    )

    def warm() -> object:
        return temperatures.take_reading(
            machine=cold,
            what="cabinet_c",
            value=Decimal(12),
            at=NOW - timedelta(minutes=30),
            actor=driver,
            now=NOW,
        )

    at_once(warm, lambda: lock(cold, dispatcher))
    assert FoodLock.objects.filter(lifted_at__isnull=True).count() == 1
    assert Finding.objects.count() == 1


def test_a_duty_is_done_once_and_comes_once_again(owner: Person, accountant: Person) -> None:
    duty = by_hand(owner)

    def done(by: Person) -> list[DutyDone]:
        seen = Seen(date(2026, 3, 1))
        return duties.record(duties=[duty], seen=seen, actor=by, now=NOW)

    found = at_once(lambda: done(owner), lambda: done(accountant))
    assert refused(found) == [False, True]
    assert DutyDone.objects.count() == 1
    assert Duty.objects.filter(state=Duty.State.OPEN).count() == 1


def test_the_same_goods_are_called_back_once(
    lobby: Machine, owner: Person, dispatcher: Person
) -> None:
    tea = Product.objects.get(name="Tea")

    def call_back(by: Person, codes: str = "T7") -> Recall:
        changes = {"product": tea, "lot_codes": codes, "reason": "glass found"}
        return recalls.save(changes=changes, actor=by, now=NOW)

    found = at_once(lambda: call_back(owner), lambda: call_back(dispatcher))
    assert refused(found) == [False, True]
    (one,) = Recall.objects.all()
    assert call_back(owner, "T8").product == tea
    # What is written differently and means the same is the same.
    with pytest.raises(RecallOpenAlready, match="called back already, since 2026-03-02"):
        call_back(owner, " t7 ,")
    with pytest.raises(RecallOpenAlready):
        recalls.save(
            changes={"lot_codes": "T8"}, actor=owner, now=NOW, recall=Recall.objects.get(pk=one.pk)
        )
    recalls.close(recall=one, said="all out", despite=True, actor=owner, now=NOW)
    assert call_back(owner).closed_at is None
