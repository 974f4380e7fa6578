"""What moves is written once, balanced, and never changed."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.db import DatabaseError, connection, transaction

from fleet.inventory.actions import ledger, places
from fleet.inventory.models import CountLine, Movement, MovementLine, StockCount, StockLevel
from people.errors import Unable, Unacceptable
from people.models import AuditEntry
from tests.cast import NOW
from tests.fleet.inventory.stores import Stores, at, require_books_balance
from tests.world import World

pytestmark = pytest.mark.django_db


def test_a_movement_keeps_who_when_and_what(stores: Stores) -> None:
    unexplained = places.the("unexplained")
    found = ledger.post(
        reason="opening",
        lines=[
            ledger.Line(
                stores.cola, 10, unexplained, stores.depot, stores.new, unit_cost=Decimal("0.6200")
            )
        ],
        actor=stores.actor,
        happened_at=at(0),
        now=NOW,
        note="what was here",
    )
    assert (found.actor, found.happened_at, found.recorded_at) == (stores.actor, at(0), NOW)
    line = found.lines.get()
    assert (line.quantity, line.lot, line.unit_cost, line.happened_at) == (
        10,
        stores.new,
        Decimal("0.62"),
        at(0),
    )
    entry = AuditEntry.objects.get(object_type="inventory.Movement", object_id=found.pk)
    assert (entry.verb, entry.actor, entry.reason) == (
        "post first record",
        stores.actor,
        "what was here",
    )
    assert stores.held(stores.depot) == {"NEW": 10}


def test_first_expired_goes_first_and_nobody_loads_what_is_out_of_date(
    stores: Stores, world: World
) -> None:
    gone = stores.old
    type(gone).objects.filter(pk=gone.pk).update(best_before=(NOW - timedelta(days=20)).date())
    soon = type(gone).objects.create(product=stores.cola, code="SOON", best_before=date(2026, 5, 1))
    for lot in (gone, stores.new, None, soon):
        stores.receive(5, lot)
    load = stores.load(12)
    moved = {(line.lot.code if line.lot else ""): line.quantity for line in load.lines.all()}
    assert moved == {"SOON": 5, "NEW": 5, "": 2}
    assert stores.held(stores.depot) == {"OLD": 5, "": 3}


def test_a_lot_is_good_on_its_last_day_where_the_business_is(stores: Stores) -> None:
    # 1 April is still 31 March in New York at two in the morning of Greenwich.
    type(stores.old).objects.filter(pk=stores.old.pk).update(best_before=date(2026, 2, 20))
    stores.receive(5, stores.old)
    stores.receive(5, stores.new)
    first = stores.load(1, 2).lines.get()
    assert at(2).date() == date(2026, 2, 20)
    assert first.lot == stores.old
    later = stores.load(1, 24).lines.get()
    assert later.lot == stores.new


def test_no_more_leaves_than_is_there(stores: Stores) -> None:
    stores.receive(5, stores.new)
    with pytest.raises(ledger.NotEnough) as refused:
        stores.load(6)
    assert (refused.value.code, refused.value.held, refused.value.asked) == ("not_enough", 5, 6)
    assert "Canal depot holds 5 Cola by the records, not the 6 asked for" in str(refused.value)
    with pytest.raises(ledger.NotEnough, match="of lot OLD"):
        ledger.post(
            reason="transfer",
            lines=[ledger.Line(stores.cola, 1, stores.depot, stores.truck, stores.old)],
            actor=stores.actor,
            happened_at=at(1),
            now=NOW,
        )
    assert Movement.objects.count() == 1
    require_books_balance()


def test_all_lines_of_a_movement_or_none(stores: Stores) -> None:
    stores.receive(5, stores.new)
    lines = [
        ledger.Line(stores.cola, 3, stores.depot, stores.truck),
        ledger.Line(stores.cola, 3, stores.depot, stores.other_truck),
    ]
    with pytest.raises(ledger.NotEnough):
        ledger.post(reason="load", lines=lines, actor=stores.actor, happened_at=at(1), now=NOW)
    assert (stores.held(stores.truck), stores.held(stores.depot)) == ({}, {"NEW": 5})


def test_the_same_key_takes_effect_once(stores: Stores) -> None:
    stores.receive(10, stores.new)
    first = stores.load(6, key="one")
    assert stores.load(6, key="one") == first
    assert stores.held(stores.truck) == {"NEW": 6}
    with pytest.raises(Unable) as refused:
        stores.load(7, key="one")
    assert refused.value.code == "key_reused"
    # Another person's key is another key.
    stores.actor = stores.actor.__class__.objects.exclude(pk=stores.actor.pk).first()  # type: ignore[assignment]
    assert stores.load(1, key="one") != first
    require_books_balance()


def test_many_happenings_at_once_in_their_order(stores: Stores) -> None:
    unexplained = places.the("unexplained")
    lines = {
        "opening": [ledger.Line(stores.cola, 8, unexplained, stores.depot, stores.new)],
        "load": [ledger.Line(stores.cola, 8, stores.depot, stores.truck)],
        "unload": [ledger.Line(stores.cola, 3, stores.truck, stores.depot)],
    }
    postings = [
        ledger.Posting(reason, those, at(hour), key=reason)
        for hour, (reason, those) in enumerate(lines.items())
    ]
    found = ledger.post_all(postings=[*postings, postings[1]], actor=stores.actor, now=NOW)
    assert [movement.reason for movement in found] == ["opening", "load", "unload", "load"]
    assert found[3] == found[1]
    assert stores.held(stores.truck) == {"NEW": 5}
    again = ledger.post_all(postings=postings, actor=stores.actor, now=NOW)
    assert again == found[:3]
    require_books_balance()


def test_many_are_written_in_as_few_statements_as_one(
    stores: Stores, django_assert_max_num_queries: object
) -> None:
    stores.receive(500, stores.new)
    postings = [
        ledger.Posting("load", [ledger.Line(stores.cola, 1, stores.depot, stores.truck)], at(1))
        for _ in range(200)
    ]
    with django_assert_max_num_queries(11):  # type: ignore[operator]
        ledger.post_all(postings=postings, actor=stores.actor, now=NOW)


def test_a_mistake_is_taken_back_by_opposite_lines(stores: Stores) -> None:
    stores.receive(10, stores.new)
    load = stores.load(6)
    back = ledger.correct(movement=load, actor=stores.actor, now=NOW, note="wrong truck", key="c")
    assert (back.reason, back.corrects, back.happened_at) == ("correction", load, load.happened_at)
    assert (stores.held(stores.truck), stores.held(stores.depot)) == ({}, {"NEW": 10})
    again = ledger.correct(movement=load, actor=stores.actor, now=NOW, note="wrong truck", key="c")
    assert again == back
    with pytest.raises(Unable) as refused:
        ledger.correct(movement=load, actor=stores.actor, now=NOW, note="wrong truck")
    assert refused.value.code == "already_corrected"
    with pytest.raises(Unable) as refused:
        ledger.correct(movement=back, actor=stores.actor, now=NOW, note="no")
    assert refused.value.code == "is_correction"
    require_books_balance()


def test_what_was_moved_on_cannot_be_taken_back(stores: Stores) -> None:
    stores.receive(10, stores.new)
    load = stores.load(6)
    stores.fill(4)
    with pytest.raises(ledger.NotEnough, match="Van 1 holds 2 Cola"):
        ledger.correct(movement=load, actor=stores.actor, now=NOW, note="wrong truck")
    with pytest.raises(Unacceptable, match="say why"):
        ledger.correct(movement=load, actor=stores.actor, now=NOW, note=" ")


def test_a_fill_taken_back_before_a_count_leaves_the_count(stores: Stores) -> None:
    stores.receive(10, stores.new)
    first = stores.count_truck({(stores.tea, None): 5}, 0.5)
    stores.load(10)
    fill = stores.fill(6, 2)
    count = stores.count(5, 30)
    ledger.correct(movement=fill, actor=stores.actor, now=NOW, note="typed twice")
    assert stores.in_column() == {"NEW": 5}
    assert stores.held(stores.truck) == {"NEW": 10}
    for counted in (first, count):
        assert counted.movement is not None
        with pytest.raises(Unable) as refused:
            ledger.correct(
                movement=counted.movement, actor=stores.actor, now=NOW, note="miscounted"
            )
        assert refused.value.code == "count_again"
    require_books_balance()


def test_what_can_never_be_right_is_told_line_by_line(stores: Stores) -> None:
    line = ledger.Line(stores.cola, 1, stores.depot, stores.truck)
    other = ledger.Line(stores.tea, 1, stores.depot, stores.truck, stores.old)
    still = ledger.Line(stores.cola, 1, stores.depot, stores.depot)
    none = ledger.Line(stores.cola, 0, stores.depot, stores.truck)
    for given, field, said in (
        ({"reason": "gift"}, "reason", "is none of"),
        ({"lines": []}, "lines", "nothing is said to have moved"),
        ({"lines": [line, none]}, "lines.1", "move 1 to"),
        ({"lines": [still]}, "lines.0", "to itself"),
        ({"lines": [other]}, "lines.0", "is of Cola, not of Tea"),
        ({"happened_at": NOW + timedelta(minutes=11)}, "happened_at", "still to come"),
        ({"happened_at": NOW.replace(tzinfo=None)}, "happened_at", "offset from UTC"),
        ({"reason": "waste"}, "waste_reason", "say why it is wasted: out_of_date"),
        ({"waste_reason": "damaged"}, "waste_reason", "only waste"),
        ({"key": "k" * 201}, "key", "1 to 200"),
    ):
        asked = {"reason": "load", "lines": [line], "happened_at": at(1)} | given
        with pytest.raises(Unacceptable) as refused:
            ledger.post(actor=stores.actor, now=NOW, **asked)  # type: ignore[arg-type]
        assert said in refused.value.fields[field]
    assert not Movement.objects.exists()


def test_nothing_goes_into_a_place_that_is_closed(stores: Stores) -> None:
    stores.receive(5)
    stores.truck.active = False
    stores.truck.save()
    with pytest.raises(Unable, match="Van 1 is no longer in use"):
        stores.load(1)
    require_books_balance()


@pytest.mark.parametrize("model", [Movement, MovementLine, StockCount, CountLine])
def test_what_was_written_is_never_changed_or_deleted(stores: Stores, model: type) -> None:
    stores.receive(5)
    stores.count(3, 1)
    table = model._meta.db_table  # type: ignore[attr-defined]
    for statement in (f"UPDATE {table} SET id = id", f"DELETE FROM {table}"):  # noqa: S608
        with (
            pytest.raises(DatabaseError, match="never changed or deleted, but corrected"),
            transaction.atomic(),
            connection.cursor() as cursor,
        ):
            cursor.execute(statement)


def test_the_database_itself_keeps_a_truck_from_going_below_zero(stores: Stores) -> None:
    stores.receive(5)
    with pytest.raises(DatabaseError, match="stock_level_not_below_zero"), transaction.atomic():
        StockLevel.objects.filter(place=stores.depot).update(quantity=-1)


def test_a_line_keeps_the_moment_of_its_movement(stores: Stores) -> None:
    movement = stores.receive(5)
    with pytest.raises(DatabaseError, match="movement_line_moment"), transaction.atomic():
        MovementLine.objects.create(
            movement=movement,
            product=stores.cola,
            from_place=stores.depot,
            to_place=stores.truck,
            quantity=1,
            happened_at=at(7),
        )
