"""Closing: the cause, the parts, the settings that were left, and what it cost."""

from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest

from fleet.inventory.models import Movement, StockPlace
from fleet.inventory.queries.check import check_stock
from fleet.machines.models import Changeover, SetUp
from people.errors import NotAllowed, Unable, Unacceptable
from people.models import Person
from service.tickets.actions import closing, moves
from service.tickets.models import Ticket, WorkDone
from tests.service.tickets.ticketwork import TicketWork, clock

pytestmark = pytest.mark.django_db


def left(tickets: TicketWork, **changes: Any) -> closing.ColumnLeft:
    """Column 1 with its front spacer one notch further in than it was."""
    as_was = closing.ColumnLeft(
        column=tickets.column("1"),
        deep=2,
        price=Decimal("1.75"),
        front_setting=19,
        program=tickets.machine.kind.programs.get(name="stop"),
    )
    return replace(as_was, **changes)


def set_up_now(tickets: TicketWork) -> SetUp:
    return tickets.column("1").set_ups.get(ends_at__isnull=True)


def test_closing_keeps_cause_work_time_and_cost(tickets: TicketWork) -> None:
    row = tickets.given()
    done = tickets.close(row, minutes=25, test_vends_made=4, test_vends_passed=4, at=clock(10, 30))
    row = tickets.fresh(row)
    assert (row.state, row.closed_at, row.given_to) == ("closed", clock(10, 30), tickets.driver)
    assert (done.cause.code, done.work, done.minutes) == ("drop_sensor", "cleaned it", 25)
    assert (done.done_by, done.done_at, done.first_time) == (tickets.driver, clock(10, 30), True)
    # 28.00 an hour for 25 minutes is 11.666..., in the currency's smallest unit.
    assert done.labour_cost == Decimal("11.67")
    assert done.parts_cost == 0
    assert "note work done" in tickets.audited(done)
    told = row.events.get(verb="close")
    assert told.said == "drop sensor dirty: cleaned it"
    assert (told.at, told.recorded_at) == (clock(10, 30), clock(11))


def test_parts_leave_the_truck_through_the_ledger(tickets: TicketWork) -> None:
    row = tickets.given()
    parts = [closing.Part(tickets.sensor, 2), closing.Part(tickets.belt, 1)]
    done = tickets.close(row, parts=parts, place=tickets.truck)
    assert done.parts_cost == Decimal("36.80"), "what a belt costs is not known"
    assert (tickets.held(tickets.sensor), tickets.held(tickets.belt)) == (3, 1)
    used = {one.product: (one.quantity, one.unit_cost) for one in done.parts.all()}
    assert used == {
        tickets.sensor: (2, Decimal("18.4000")),
        tickets.belt: (1, None),
    }
    movement = Movement.objects.get(reason="part")
    assert {one.movement for one in done.parts.all()} == {movement}
    fitted = StockPlace.objects.get(kind="fitted")
    assert {line.to_place for line in movement.lines.all()} == {fitted}
    assert not check_stock().faults


def test_what_the_truck_does_not_hold_is_refused_and_nothing_is_done(tickets: TicketWork) -> None:
    row = tickets.given()
    with pytest.raises(Unable) as refused:
        tickets.close(row, parts=[closing.Part(tickets.belt, 3)], place=tickets.truck)
    assert refused.value.code == "not_enough"
    assert tickets.fresh(row).state == "given"
    assert not WorkDone.objects.exists()
    assert tickets.held(tickets.belt) == 2


def test_a_product_that_is_sold_is_no_part(tickets: TicketWork) -> None:
    row = tickets.given()
    cola = set_up_now(tickets).product
    with pytest.raises(Unacceptable, match="Cola is no spare part"):
        tickets.close(row, parts=[closing.Part(cola, 1)], place=tickets.truck)


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"minutes": -1}, "minutes"),
        ({"minutes": 1441}, "minutes"),
        ({"test_vends_made": -1}, "test_vends_made"),
        ({"test_vends_made": 2, "test_vends_passed": 3}, "test_vends_passed"),
        ({"at": clock(8)}, "at"),
        ({"at": clock(15)}, "at"),
    ],
)
def test_what_cannot_be_right_is_refused_by_field(
    tickets: TicketWork, wrong: dict[str, Any], field: str
) -> None:
    row = tickets.given()
    with pytest.raises(Unacceptable) as refused:
        tickets.close(row, **wrong)
    assert field in refused.value.fields
    assert tickets.fresh(row).state == "given"


def test_parts_are_said_once_with_their_place(tickets: TicketWork) -> None:
    row = tickets.given()
    part = closing.Part(tickets.sensor, 1)
    with pytest.raises(Unacceptable, match="which truck or warehouse"):
        tickets.close(row, parts=[part])
    with pytest.raises(Unacceptable, match="stands twice"):
        tickets.close(row, parts=[part, part], place=tickets.truck)
    with pytest.raises(Unacceptable, match="give 1 to"):
        tickets.close(row, parts=[replace(part, quantity=0)], place=tickets.truck)


def test_a_cause_out_of_use_is_refused(tickets: TicketWork) -> None:
    cause = tickets.cause()
    cause.active = False
    with pytest.raises(Unacceptable, match="not in use"):
        tickets.close(tickets.given(), cause=cause)


def test_work_does_not_end_before_it_began(tickets: TicketWork) -> None:
    row = moves.on_site(ticket=tickets.given(), actor=tickets.driver, now=clock(10))
    with pytest.raises(Unacceptable, match="which is later"):
        tickets.close(row, at=clock(9, 30))


def test_who_may_close(tickets: TicketWork, other_driver: Person) -> None:
    with pytest.raises(NotAllowed, match="not given to you"):
        tickets.close(tickets.given(), actor=other_driver)
    nobodys = tickets.ticket("coins")
    tickets.close(nobodys, actor=other_driver)
    assert tickets.fresh(nobodys).given_to == other_driver
    by_phone = tickets.ticket("notes")
    assert tickets.close(by_phone, actor=tickets.dispatcher).done_by == tickets.dispatcher


def test_a_driver_who_had_it_then_closes_it_though_told_late(
    tickets: TicketWork, other_driver: Person
) -> None:
    """Mended at ten in a basement, given to another at half past ten, told at eleven."""
    row = tickets.given()
    moves.give(ticket=row, to=other_driver, actor=tickets.dispatcher, now=clock(10, 30))
    with pytest.raises(NotAllowed):
        tickets.close(row, at=clock(10, 45))
    done = tickets.close(row, at=clock(10))
    assert done.done_by == tickets.driver
    assert tickets.fresh(row).given_to == tickets.driver


def test_what_was_nobodys_then_is_closed_by_who_was_there(
    tickets: TicketWork, other_driver: Person
) -> None:
    """Begun and mended without a signal before the desk gave it to another."""
    row = tickets.ticket()
    moves.give(ticket=row, to=other_driver, actor=tickets.dispatcher, now=clock(10, 30))
    row = moves.on_site(ticket=row, actor=tickets.driver, at=clock(10), now=clock(11))
    assert (row.state, row.given_to, row.on_site_at) == ("on_site", tickets.driver, clock(10))
    tickets.close(row, at=clock(10, 20))
    row = tickets.fresh(row)
    assert (row.closed_at, row.given_to) == (clock(10, 20), tickets.driver)


def test_closing_what_waits_ends_the_wait(tickets: TicketWork) -> None:
    row = moves.wait(
        ticket=tickets.given(), reason="a part", actor=tickets.driver, now=clock(9, 30)
    )
    tickets.close(row)
    row = tickets.fresh(row)
    assert (row.state, row.paused_at, row.waiting_for) == ("closed", None, "")
    assert row.paused_minutes == 90


def test_it_is_closed_once(tickets: TicketWork) -> None:
    row = tickets.closed()
    with pytest.raises(Unable) as refused:
        tickets.close(row)
    assert refused.value.code == "illegal_move"


def test_a_touched_column_goes_through_its_changeover_record(tickets: TicketWork) -> None:
    row = tickets.given(column=tickets.column("1"))
    before = set_up_now(tickets)
    done = tickets.close(
        row, left=left(tickets), test_vends_made=4, test_vends_passed=4, at=clock(10, 30)
    )
    changeover = done.changeover
    assert changeover is not None
    assert changeover.plan.purpose == f"Ticket {row.reference}: sold out while full"
    assert (changeover.state, changeover.as_left_front) == ("done", 19)
    assert (changeover.test_vends_made, changeover.mismatches) == (4, [])
    now = set_up_now(tickets)
    assert (now.front_setting, now.starts_at, now.product) == (19, clock(10, 30), before.product)
    before.refresh_from_db()
    assert before.ends_at == clock(10, 30)


def test_a_column_left_as_it_was_begins_no_set_up(tickets: TicketWork) -> None:
    row = tickets.given()
    before = set_up_now(tickets)
    done = tickets.close(row, left=left(tickets, front_setting=20), test_vends_made=1)
    assert done.changeover is None
    assert set_up_now(tickets) == before
    assert tickets.fresh(row).events.get(verb="close").data["column_as_it_was"] is True


def test_fewer_test_vends_than_asked_need_a_reason(tickets: TicketWork) -> None:
    row = tickets.given()
    few = {"test_vends_made": 2, "test_vends_passed": 2}
    with pytest.raises(Unacceptable, match="4 planned, 2 left") as refused:
        tickets.close(row, left=left(tickets), **few)
    assert refused.value.code == "mismatch_needs_reason"
    assert tickets.fresh(row).state == "given"
    assert not Changeover.objects.exists(), "all of it or nothing"
    done = tickets.close(row, left=left(tickets, reason="the host closed the room"), **few)
    assert done.changeover is not None
    assert done.changeover.mismatch_reason == "the host closed the room"


def test_a_touched_column_needs_a_test_vend(tickets: TicketWork) -> None:
    with pytest.raises(Unable) as refused:
        tickets.close(tickets.given(), left=left(tickets))
    assert refused.value.code == "no_test_vends"


def test_settings_that_the_column_cannot_take(tickets: TicketWork) -> None:
    row = tickets.given()
    with pytest.raises(Unacceptable) as refused:
        tickets.close(row, left=left(tickets, front_setting=40), test_vends_made=4)
    assert list(refused.value.fields) == ["left.front_setting"]
    other = tickets.world.machine("LOB-2", tickets.machine.kind)
    with pytest.raises(Unacceptable, match="not a column of LOB-1"):
        tickets.close(
            row, left=left(tickets, column=tickets.world.column(other, "1")), test_vends_made=4
        )
    empty = left(tickets, column=tickets.column("3"))
    with pytest.raises(Unable) as unable:
        tickets.close(row, left=empty, test_vends_made=4)
    assert unable.value.code == "no_set_up"


def test_an_open_changeover_of_the_same_product_is_completed_with_it(tickets: TicketWork) -> None:
    cola = set_up_now(tickets).product
    program = tickets.machine.kind.programs.get(name="stop")
    planned = tickets.world.planned(
        tickets.column("1"), cola, deep=2, front_setting=18, program=program
    )
    done = tickets.close(
        tickets.given(),
        left=left(tickets, reason="the chart says seventeen, nineteen works"),
        test_vends_made=4,
        test_vends_passed=4,
    )
    assert done.changeover == planned
    planned.refresh_from_db()
    assert planned.state == "done"
    assert [one["what"] for one in planned.mismatches] == ["front_setting"]


def test_an_open_changeover_to_another_product_comes_first(tickets: TicketWork) -> None:
    tea = tickets.column("2").set_ups.get(ends_at__isnull=True).product
    tickets.world.planned(tickets.column("1"), tea)
    with pytest.raises(Unable) as refused:
        tickets.close(tickets.given(), left=left(tickets), test_vends_made=4)
    assert refused.value.code == "column_in_changeover"


def test_what_came_back_was_not_mended_the_first_time(tickets: TicketWork) -> None:
    tickets.closed()
    again = tickets.ticket(now=clock(9, days=2))
    done = tickets.close(again, now=clock(11, days=2))
    assert not done.first_time
    assert Ticket.objects.filter(work__first_time=False).count() == 2
