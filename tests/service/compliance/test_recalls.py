"""Recalls: where a lot is, who is sent, what was taken out, and when it may end."""

from datetime import UTC, date, datetime, timedelta

import pytest

from fleet.inventory.actions import places
from fleet.inventory.models import Movement
from people.errors import NotAllowed, Unable, Unacceptable
from people.models import AuditEntry, Person
from service.compliance.actions import recalls
from service.compliance.actions.errors import RecallClosed
from service.compliance.models import Recall, RecallRemoval, RecallVisit
from service.compliance.queries import recalls as where
from service.compliance.queries.recalls import Called
from service.runs.models import Stop
from tests.cast import NOW
from tests.fleet.inventory.stores import Stores
from tests.service.compliance.test_duties import picture
from tests.service.runs.dispatchwork import dispatchwork
from tests.world import World


@pytest.fixture
def stocked(stores: Stores) -> Stores:
    """Old and new lots in the depot, the truck and column 1."""
    stores.receive(40, stores.old)
    stores.receive(40, stores.new)
    stores.load(30)
    stores.fill(6, lot=stores.old)
    return stores


def opened(stores: Stores, actor: Person, **changes: object) -> Recall:
    given: dict[str, object] = {
        "product": stores.cola,
        "lot_codes": "old,  OLD-2, ",
        "reason": "glass found",
    }
    return recalls.save(changes=given | changes, actor=actor, now=NOW)


def test_where_the_lot_is(stocked: Stores, owner: Person) -> None:
    recall = opened(stocked, owner)
    assert recall.codes == ("old", "OLD-2")
    found = {(one.place.name, one.quantity, one.called.value) for one in where.held(recall)}
    assert found == {
        ("Canal depot", 10, "yes"),
        ("Van 1", 24, "yes"),
        (places.column_place(stocked.one).name, 6, "yes"),
    }
    (machine,) = where.to_visit(recall)
    assert (machine.machine, machine.certain, machine.is_seen) == (stocked.machine, 6, False)


@pytest.mark.parametrize(
    ("codes", "until", "lot", "answer"),
    [
        ("", None, None, Called.YES),
        ("", None, "old", Called.YES),
        ("OLD", None, "old", Called.YES),
        ("other", None, "old", Called.NO),
        ("OLD", None, None, Called.PERHAPS),
        ("", date(2026, 4, 1), "old", Called.YES),
        ("", date(2026, 3, 31), "old", Called.NO),
        ("OLD", date(2026, 3, 31), "old", Called.NO),
    ],
)
def test_which_lots_are_called_back(
    stores: Stores, owner: Person, codes: str, until: date | None, lot: str | None, answer: Called
) -> None:
    recall = opened(stores, owner, lot_codes=codes, best_before_until=until)
    assert where.called(recall, stores.old if lot else None) is answer


def test_what_is_taken_out_is_booked_and_proved(stocked: Stores, driver: Person) -> None:
    recall = opened(stocked, driver)
    column = places.column_place(stocked.one)
    line = recalls.remove(
        recall=recall,
        place=column,
        quantity=6,
        lot=stocked.old,
        at=NOW,
        actor=driver,
        now=NOW,
        file=picture(),
        note="bin of the depot",
    )
    assert line.movement is not None
    assert line.movement.waste_reason == Movement.WasteReason.RECALLED
    assert line.evidence is not None
    assert stocked.in_column() == {}
    (machine,) = where.to_visit(recall)
    assert machine.is_seen
    assert AuditEntry.objects.filter(verb="take out recalled goods").exists()


def test_who_looked_and_found_none(stocked: Stores, driver: Person, accountant: Person) -> None:
    recall = opened(stocked, driver)
    given = {"recall": recall, "place": places.truck("Van 2"), "at": NOW, "now": NOW}
    with pytest.raises(NotAllowed):
        recalls.remove(**given, quantity=0, actor=accountant)
    line = recalls.remove(**given, quantity=0, actor=driver)
    assert line.movement is None
    with pytest.raises(Unacceptable) as refused:
        recalls.remove(**given, quantity=1, lot=stocked.new, actor=driver)
    assert "lot" in refused.value.fields
    with pytest.raises(Unacceptable):
        recalls.remove(**(given | {"at": NOW + timedelta(hours=2)}), quantity=0, actor=driver)
    assert RecallRemoval.objects.count() == 1


def test_no_more_comes_out_of_a_column_than_it_holds(stocked: Stores, driver: Person) -> None:
    recall = opened(stocked, driver)
    most = stocked.one.set_ups.get(ends_at=None).capacity
    given = {"recall": recall, "place": places.column_place(stocked.one), "lot": stocked.old}
    given |= {"at": NOW, "now": NOW, "actor": driver}
    with pytest.raises(Unacceptable) as refused:
        recalls.remove(**given, quantity=most + 1)
    assert refused.value.code == "over_capacity"
    assert not RecallRemoval.objects.exists()
    # More than the estimate may be there, as long as it fits.
    assert recalls.remove(**given, quantity=most).movement is not None


def test_it_ends_once_nothing_is_left(stocked: Stores, owner: Person) -> None:
    recall = opened(stocked, owner)
    with pytest.raises(Unable, match="still there") as refused:
        recalls.close(recall=recall, said="all fetched", actor=owner, now=NOW)
    assert refused.value.code == "still_held"
    for one in where.held(recall):
        recalls.remove(
            recall=recall,
            place=one.place,
            quantity=one.quantity,
            lot=one.lot,
            at=NOW,
            actor=owner,
            now=NOW,
        )
    ended = recalls.close(recall=recall, said="all fetched", actor=owner, now=NOW)
    assert (ended.closed_by, ended.closed_said) == (owner, "all fetched")
    with pytest.raises(RecallClosed):
        recalls.save(recall=ended, changes={"reason": "x"}, actor=owner, now=NOW)
    with pytest.raises(RecallClosed):
        recalls.close(recall=ended, said="again", actor=owner, now=NOW)


def test_it_ends_despite_what_is_left_with_a_reason(stocked: Stores, owner: Person) -> None:
    recall = opened(stocked, owner)
    with pytest.raises(Unacceptable):
        recalls.close(recall=recall, said="", actor=owner, now=NOW, despite=True)
    recalls.close(recall=recall, said="notice withdrawn", actor=owner, now=NOW, despite=True)


def test_machines_become_stops_that_have_to_be_gone_to(
    world: World, dispatcher: Person, driver: Person
) -> None:
    day = date(2026, 3, 3)
    now = datetime(2026, 3, 2, 14, tzinfo=UTC)
    work = dispatchwork(world, dispatcher, driver, day=day, now=now, machines=4, each=2)
    on_run, elsewhere = work.machines[0], work.machines[3]
    recall = recalls.save(
        changes={"product": work.road.cola, "reason": "glass found"}, actor=dispatcher, now=now
    )
    sent = recalls.send(
        recall=recall, machines=[on_run, elsewhere], actor=dispatcher, now=now, day=day
    )
    assert not sent.not_sent
    stops = Stop.objects.filter(machine__in=[on_run, elsewhere])
    assert all(stop.must_go for stop in stops)
    assert all(stop.reasons[0]["code"] == "recall" for stop in stops)
    assert "glass found" in stops[0].reasons[0]["said"]
    assert work.order(work.runs[0]).count(on_run.asset_tag) == 1
    assert RecallVisit.objects.count() == 2
    assert set(where.open_for([on_run.pk, elsewhere.pk])) == {on_run.pk, elsewhere.pk}


def test_a_day_without_runs_is_told(stocked: Stores, owner: Person) -> None:
    recall = opened(stocked, owner)
    sent = recalls.send(
        recall=recall,
        machines=[stocked.machine],
        actor=owner,
        now=NOW,
        day=NOW.date() + timedelta(days=1),
    )
    assert [one.machine for one in sent.not_sent] == [stocked.machine]
    with pytest.raises(Unacceptable):
        recalls.send(recall=recall, machines=[], actor=owner, now=NOW, day=NOW.date())
    with pytest.raises(Unacceptable):
        recalls.send(recall=recall, machines=[stocked.machine], actor=owner, now=NOW)
