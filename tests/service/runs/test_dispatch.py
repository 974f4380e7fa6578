"""Tickets on runs: offered to every driver, put where they cost least, along with their stops."""

from datetime import timedelta
from decimal import Decimal

import pytest

from fleet.inventory.actions import ledger, places
from people.errors import Unable
from people.models import Person
from service.runs.actions import board, dispatch, keeping, offers, plans, road
from service.runs.models import Run, ServiceAgreement, Stop, TicketStop
from service.runs.queries.dispatch import Filters, digest_of, dispatch_board, due_in_words
from service.runs.queries.nearby import due_around
from service.tickets.actions import closing, moves
from service.tickets.models import Cause, Symptom, Ticket
from service.upkeep.models import DueWork, MaintenancePlan
from tests.cast import NOW
from tests.service.runs.dispatchwork import DispatchWork, dispatchwork, spread
from tests.service.runs.roadwork import DAY, clock
from tests.world import World


@pytest.fixture
def desk(world: World, dispatcher: Person, driver: Person, other_driver: Person) -> DispatchWork:
    """Two drivers with two stops each on a Monday; four machines are on no run."""
    return dispatchwork(
        world,
        dispatcher,
        driver,
        day=DAY,
        now=clock(6),
        others=[other_driver],
        machines=8,
        each=2,
    )


def offered(desk: DispatchWork, ticket: Ticket, **more: object) -> offers.Offers:
    given = {"ticket": ticket, "day": DAY, "now": clock(6, 5)}
    return offers.preview(**(given | more))  # type: ignore[arg-type]


def by_name(found: offers.Offers) -> dict[str, offers.Offer]:
    return {one.driver.name.split()[0]: one for one in found.offers}


def test_every_driver_is_offered_and_the_cheapest_is_suggested(desk: DispatchWork) -> None:
    # R-5 lies 15 km north; Tobin's last stop at 12 km is nearer than Rosa's at 6 km.
    found = offered(desk, desk.ticket(desk.machines[4]))
    assert [one.driver.name for one in found.offers] == ["Tobin Ashgrove", "Rosa Quillfeather"]
    best, other = found.offers
    assert found.suggested is best
    assert best.how == "between"
    assert 0 < best.minutes < other.minutes
    assert best.keeps_promise
    assert best.late == best.faults == best.lacks == ()
    assert "the promise is kept" in found.because
    assert "no other of 2 drivers loses less" in found.because


def test_a_run_that_stops_there_anyway_only_stays_longer(desk: DispatchWork) -> None:
    ticket = desk.ticket(desk.machines[0])
    found = by_name(offered(desk, ticket))
    assert found["Rosa"].how == "there"
    assert found["Rosa"].minutes == ticket.symptom.work_minutes
    assert found["Rosa"].metres == 0
    assert found["Tobin"].how == "takes_over"
    done = desk.assign(ticket, desk.runs[0], seen=found["Rosa"].seen)
    stop = Stop.objects.get(run=desk.runs[0], machine=desk.machines[0])
    assert done.stop.pk == stop.pk
    assert desk.order(desk.runs[0]) == ["R-1", "R-2"]
    assert done.change.minutes == ticket.symptom.work_minutes
    # Seen to there already: giving it again changes nothing.
    assert by_name(offered(desk, desk.fresh(ticket)))["Rosa"].minutes == 0


def test_skill_parts_and_shift_decide(desk: DispatchWork) -> None:
    ticket = desk.ticket(desk.machines[4])
    Symptom.objects.filter(code="warm").update(needs_skill="refrigeration")
    rosa = desk.profiles[0]
    keeping.save_driver(
        profile=rosa, changes={"skills": ["refrigeration"]}, actor=desk.road.owner, now=NOW
    )
    found = offered(desk, desk.fresh(ticket))
    assert found.suggested is not None
    assert found.suggested.driver == rosa.person
    assert by_name(found)["Tobin"].lacks == ("refrigeration",)
    assert "Tobin Ashgrove would lose only" in found.because
    assert "but lacks refrigeration" in found.because


def test_likely_parts_are_looked_for_on_the_trucks(desk: DispatchWork) -> None:
    world, road_ = desk.road.world, desk.road
    bag = world.package("bag of parts", "bag")
    fan = world.product("Fan", bag, form="part", price=Decimal(0), picture="")
    unexplained = places.the("unexplained")
    for place in (road_.truck, road_.warehouse):
        ledger.post(
            reason="opening",
            lines=[ledger.Line(fan, 3, unexplained, place, None)],
            actor=road_.owner,
            happened_at=NOW - timedelta(days=1),
            now=NOW - timedelta(days=1),
        )
    before = desk.ticket(desk.machines[1], now=clock(1))
    moves.give(ticket=before, to=road_.driver, actor=desk.dispatcher, now=clock(1))
    closing.close(
        ticket=before,
        cause=Cause.objects.get(code="fan"),
        work="new fan",
        minutes=30,
        parts=[closing.Part(fan, 1)],
        place=road_.truck,
        actor=road_.driver,
        now=clock(2),
    )
    found = by_name(offered(desk, desk.ticket(desk.machines[4])))
    assert [part.said for part in found["Rosa"].parts] == ["2 × Fan aboard"]
    (none,) = found["Tobin"].parts
    assert none.units == 0
    assert none.elsewhere == road_.warehouse.name
    assert found["Tobin"].lacks_parts


def test_what_would_be_late_is_told(desk: DispatchWork) -> None:
    promised = desk.ticket(desk.machines[1])
    desk.assign(promised, desk.runs[0])
    stop = Stop.objects.get(run=desk.runs[0], machine=desk.machines[1])
    # Promised for just after the stop ends as planned: anything before it breaks the promise.
    Ticket.objects.filter(pk=promised.pk).update(
        promised_at=stop.planned_leave + timedelta(minutes=5)
    )
    found = by_name(offered(desk, desk.ticket(desk.machines[0])))
    (late,) = found["Rosa"].late
    assert late.what == "R-2: warm would be after its promise"
    assert late.minutes == 40  # 45 of work at R-1, 5 in hand
    assert not found["Rosa"].is_clean


def test_assigning_puts_the_stop_in_and_gives_the_ticket(desk: DispatchWork) -> None:
    ticket = desk.ticket(desk.machines[4])
    best = offered(desk, ticket).offers[0]
    done = desk.assign(ticket, best.run, seen=best.seen)
    assert done.ticket.given_to == best.driver
    assert desk.order(desk.runs[1]) == ["R-3", "R-4", "R-5"]
    assert done.change.minutes == pytest.approx(best.minutes, abs=1)
    stop = Stop.objects.get(pk=done.stop.pk)
    assert stop.must_go
    assert ticket.reference in stop.reasons[0]["said"]
    assert TicketStop.objects.get(ticket=ticket).stop == stop
    again = offered(desk, desk.fresh(ticket))
    assert by_name(again)["Rosa"].how == "takes_over"
    desk.assign(desk.fresh(ticket), desk.runs[0])
    assert desk.order(desk.runs[1]) == ["R-3", "R-4"]
    assert desk.order(desk.runs[0]) == ["R-1", "R-2", "R-5"]
    assert desk.fresh(ticket).given_to == desk.profiles[0].person
    dispatch.unassign(
        ticket=ticket, reason="the host mended it", actor=desk.dispatcher, now=clock(6, 10)
    )
    assert desk.order(desk.runs[0]) == ["R-1", "R-2"]
    assert desk.fresh(ticket).state == "new"
    assert not TicketStop.objects.exists()


def test_a_stale_move_is_refused_with_what_changed(desk: DispatchWork) -> None:
    ticket, other = desk.ticket(desk.machines[4]), desk.ticket(desk.machines[5])
    rosa, tobin = by_name(offered(desk, ticket)), by_name(offered(desk, other))
    desk.assign(ticket, desk.runs[1])
    with pytest.raises(Unable, match="given to Tobin Ashgrove by Dev Castellane") as refused:
        desk.assign(ticket, desk.runs[0], seen=rosa["Rosa"].seen)
    assert refused.value.code == "changed_meanwhile"
    with pytest.raises(Unable, match=r"put ticket on run \(R-5\)") as refused:
        desk.assign(other, desk.runs[1], seen=tobin["Tobin"].seen)
    assert refused.value.code == "changed_meanwhile"
    assert desk.order(desk.runs[0]) == ["R-1", "R-2"]
    assert not TicketStop.objects.filter(ticket=other).exists()


def test_what_the_road_does_is_no_stale_move(desk: DispatchWork) -> None:
    ticket = desk.ticket(desk.machines[4])
    seen = by_name(offered(desk, ticket))["Rosa"].seen
    work, run = desk.road, desk.runs[0]
    work.start(run, clock(7, 30))
    stop = work.stop(run)
    work.do(road.arrive, clock(8), stop=stop)
    work.do(road.leave, clock(8, 20), stop=stop)
    done = desk.assign(ticket, run, seen=seen, now=clock(8, 21))
    assert desk.order(run)[0] == "R-1"
    assert done.stop.planned_arrive > clock(8, 21)


def test_a_machine_that_breaks_again_is_visited_again(desk: DispatchWork) -> None:
    work, run = desk.road, desk.runs[0]
    work.start(run, clock(7, 30))
    stop = work.stop(run)
    work.do(road.arrive, clock(8), stop=stop)
    work.do(road.leave, clock(8, 20), stop=stop)
    ticket = desk.ticket(desk.machines[0], now=clock(9))
    found = by_name(offered(desk, ticket, now=clock(9)))
    assert found["Rosa"].how == "between"
    desk.assign(ticket, run, now=clock(9, 1))
    assert desk.order(run)[0] == "R-1"
    assert desk.order(run).count("R-1") == 2


def test_a_driver_without_a_run_gets_one(desk: DispatchWork) -> None:
    Run.objects.filter(pk=desk.runs[1].pk).delete()
    ticket = desk.ticket(desk.machines[7])
    tobin = by_name(offered(desk, ticket))["Tobin"]
    assert tobin.how == "own_run"
    assert tobin.run is None
    done = desk.assign(ticket, driver=desk.profiles[1], day=DAY, seen=tobin.seen)
    assert done.stop.run.driver == tobin.driver
    assert done.stop.service_minutes == ticket.symptom.work_minutes


def test_a_stop_of_one_that_ended_is_let_go(desk: DispatchWork) -> None:
    ticket, there = desk.ticket(desk.machines[4]), desk.ticket(desk.machines[2])
    desk.assign(ticket, desk.runs[1])
    desk.assign(there, desk.runs[1])
    stop = Stop.objects.get(run=desk.runs[1], machine=desk.machines[2])
    longer = stop.service_minutes
    now = clock(7)
    for one in (ticket, there):
        assert not dispatch.let_go(ticket=one, actor=desk.dispatcher, now=now)
        moves.drop(ticket=one, reason="a false alarm", actor=desk.dispatcher, now=now)
    assert dispatch.tidy(now=now) == 2
    assert dispatch.tidy(now=now) == 0
    # The stop for the ticket alone goes; the other is only as long as before.
    assert desk.order(desk.runs[1]) == ["R-3", "R-4"]
    stop.refresh_from_db()
    assert stop.service_minutes == longer - there.symptom.work_minutes


def test_tickets_go_along_with_their_stop(desk: DispatchWork) -> None:
    ticket = desk.ticket(desk.machines[4])
    stop = desk.assign(ticket, desk.runs[0]).stop
    board.move_stop(
        stop=stop, run=desk.runs[1], position=1, actor=desk.dispatcher, now=clock(6, 20)
    )
    assert desk.fresh(ticket).given_to == desk.profiles[1].person
    moved = Stop.objects.get(pk=stop.pk)
    board.take_off(stop=moved, reason="no time", actor=desk.dispatcher, now=clock(6, 30))
    assert desk.fresh(ticket).state == "new"
    last = ticket.events.order_by("-pk").first()
    assert last is not None
    assert (last.verb, last.said) == ("hand_back", "no time")


def test_an_open_ticket_is_planned_for_and_given_when_agreed(desk: DispatchWork) -> None:
    tuesday = DAY + timedelta(days=1)
    urgent = desk.ticket(desk.machines[6], now=clock(12))
    minor = desk.ticket(desk.machines[6], "falls_out", now=clock(12))
    plan = plans.plan_day(date=tuesday, actor=desk.dispatcher, now=clock(17))
    stop = Stop.objects.get(run__plan=plan, machine=desk.machines[6])
    assert stop.must_go
    said = [one["said"] for one in stop.reasons]
    assert f"Ticket {urgent.reference}: warm, promised by Tue 3 Mar 2026" in said[0]
    assert stop.service_minutes >= urgent.symptom.work_minutes + minor.symptom.work_minutes
    plans.agree(plan=plan, actor=desk.dispatcher, now=clock(17, 5))
    for one in (urgent, minor):
        assert desk.fresh(one).given_to == stop.run.driver
        assert TicketStop.objects.get(ticket=one).stop == stop
    # Planned anew, the tickets go over to the new runs.
    anew = plans.plan_day(date=tuesday, actor=desk.dispatcher, now=clock(18))
    plans.agree(plan=anew, actor=desk.dispatcher, now=clock(18, 5))
    assert TicketStop.objects.get(ticket=urgent).stop.run.plan == anew


def test_nobody_is_offered_what_cannot_be_given(desk: DispatchWork) -> None:
    ticket = desk.ticket(desk.machines[4])
    assert offered(desk, ticket, day=DAY + timedelta(days=6)).refused == "nobody drives that day"
    moves.on_site(ticket=ticket, actor=desk.road.driver, now=clock(6, 1))
    assert offered(desk, desk.fresh(ticket)).refused == f"{desk.road.driver} is at work on it"


def test_the_board_shows_groups_lanes_and_filters(desk: DispatchWork) -> None:
    spread(desk.road.world, desk, 2)
    warm = desk.ticket(desk.machines[4], now=clock(5) - timedelta(days=9))
    card = desk.ticket(desk.machines[0], "cards", said="the reader blinks twice")
    desk.assign(card, desk.runs[0])
    before = digest_of(DAY)
    found = dispatch_board(DAY, Filters(), now=clock(6))
    assert [(group.urgency, len(group.cards)) for group in found.groups] == [("down", 1)]
    assert (found.nobody, found.open_count, found.late) == (1, 2, 1)
    assert found.groups[0].cards[0].pressing == "late"
    rosa = next(lane for lane in found.lanes if lane.driver == desk.road.driver)
    assert [one.ticket for one in rosa.cards] == [card]
    for words, shown in (("blinks", 1), ("R-5", 1), ("hall 5", 1), ("hall 7", 0), ("", 2)):
        filters = Filters(search=words, show="open")
        assert dispatch_board(DAY, filters, now=clock(6)).shown == shown, words
    assert digest_of(DAY) == before
    moves.drop(ticket=warm, reason="x", actor=desk.dispatcher, now=clock(7))
    assert digest_of(DAY) != before


def test_promises_in_words(desk: DispatchWork) -> None:
    ticket = desk.ticket(desk.machines[4])
    ticket.promised_at = clock(12)
    for now, said in (
        (clock(8), ("in 4 h 00 min", "")),
        (clock(11), ("in 1 h 00 min", "soon")),
        (clock(12, 30), ("late by 30 min", "late")),
        (clock(12) + timedelta(days=2, hours=3), ("late by 2 d 3 h", "late")),
    ):
        assert due_in_words(ticket, now) == said
    ticket.paused_at = clock(9)
    assert due_in_words(ticket, clock(13)) == ("clock stopped", "")


def test_an_agreement_still_asks_for_its_skill(desk: DispatchWork) -> None:
    ServiceAgreement.objects.create(machine=desk.machines[4], every_days=30, needs_skill="ladder")
    found = by_name(offered(desk, desk.ticket(desk.machines[4])))
    assert found["Rosa"].lacks == found["Tobin"].lacks == ("ladder",)


def test_upkeep_at_the_stops_and_close_by_is_offered_to_the_run(desk: DispatchWork) -> None:
    world, run = desk.road.world, desk.runs[1]
    hall = desk.machines[3].placements.get().site
    beside = world.machine("Z-1", desk.machines[3].kind, site=hall)
    plan = MaintenancePlan.objects.order_by("pk")[0]
    for machine in (beside, desk.machines[2], desk.machines[7]):
        DueWork.objects.create(
            machine=machine,
            plan=plan,
            due_on=DAY,
            day=DAY,
            because="three months are over",
            opened_at=clock(1),
            changed_at=clock(1),
        )
    stops = list(run.stops.select_related("machine", "site").order_by("sequence"))
    at_stops, close_by = due_around(stops, run)
    # R-8 is 12 km off the last stop, which is too far to be offered.
    assert list(at_stops) == [desk.machines[2].pk]
    assert [(one.machine, one.from_stop, one.metres) for one in close_by] == [(beside, "R-4", 0)]
