"""By when a ticket is promised: rules, the site's own hours, holidays, and clocks that stand."""

from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from fleet.machines.actions import sites
from fleet.machines.models import Machine, Site
from people.errors import Unacceptable
from people.models import AuditEntry, Business, Person
from service.tickets import promises
from service.tickets.actions import agreements, changes, moves, reporting
from service.tickets.calendar import holidays_of, hours_of, hours_of_many
from service.tickets.models import PromiseRule, ServiceHours, Symptom, Ticket
from tests.cast import NOW
from tests.world import World

pytestmark = pytest.mark.django_db
NEW_YORK = ZoneInfo("America/New_York")


def ny(month: int, day: int, hour: int, minute: int = 0) -> datetime:
    return datetime(2026, month, day, hour, minute, tzinfo=NEW_YORK)


def ticket(machine: Machine, code: str = "coins", at: datetime = NOW) -> Ticket:
    return reporting.report(
        machine=machine,
        symptom=Symptom.objects.get(code=code),
        source=Ticket.Source.DESK,
        actor=None,
        now=at,
    ).ticket


def rule(actor: Person, **given: Any) -> PromiseRule:
    return agreements.save_rule(changes=given, actor=actor, now=NOW)


def test_a_new_service_promises_what_is_common_in_the_trade(world: World) -> None:
    """Monday 2 March 2026, 9:00; Monday to Friday from 8 to 17."""
    site = world.site()
    monday = ny(3, 2, 9)
    said = {
        urgency: promises.promised(site=site, urgency=urgency, at=monday)
        for urgency in Ticket.Urgency.values
    }
    assert said["down"].due == ny(3, 3, 17)
    assert said["down"].said == "by the end of the next working day"
    assert said["part"].due == said["money"].due == ny(3, 9, 17)
    assert said["when_there"] == promises.Promise(None, "nothing is promised")


def test_a_sites_own_rule_goes_first_and_names_it(world: World) -> None:
    site, other = world.site(), world.site("Harbour gate")
    own = rule(world.owner, site=site, urgency="down", kind="working_hours", amount=4)
    friday = ny(3, 6, 15)
    agreed = promises.promised(site=site, urgency="down", at=friday)
    assert agreed.due == ny(3, 9, 10)  # two hours of Friday, two of Monday
    assert agreed.said == "within 4 working hours, as agreed for Ferry landing"
    assert promises.promised(site=other, urgency="down", at=friday).due == ny(3, 9, 17)
    agreements.save_rule(rule=own, changes={"active": False}, actor=world.owner, now=NOW)
    assert promises.promised(site=site, urgency="down", at=friday).due == ny(3, 9, 17)


def test_a_rule_can_say_that_nothing_is_promised_at_a_site(world: World) -> None:
    site = world.site()
    rule(world.owner, site=site, urgency="down", kind="none", amount=7)
    assert promises.promised(site=site, urgency="down", at=NOW).due is None


def test_a_site_is_reckoned_in_its_own_hours_and_zone(world: World) -> None:
    """Open Saturdays from 10 to 14 alone, in Denver: Friday's report is due on Saturday at 14."""
    site = world.site("Saturday market", time_zone=ZoneInfo("America/Denver"))
    window = {"weekday": 5, "opens": time(10), "closes": time(14)}
    sites.save_site(site=site, changes={}, opening_windows=[window], actor=world.owner, now=NOW)
    due = promises.promised(site=site, urgency="down", at=ny(3, 6, 9)).due
    assert due == datetime(2026, 3, 7, 14, tzinfo=ZoneInfo("America/Denver"))


def test_public_holidays_of_the_site_do_not_count(world: World) -> None:
    """Thursday 2 July 2026; Independence Day is kept on Friday the 3rd (5 U.S. Code 6103)."""
    here = world.site(state="NJ")
    there = world.site("Berlin hall", country="DE", state="Berlin", time_zone=ZoneInfo("UTC"))
    assert promises.promised(site=here, urgency="down", at=ny(7, 2, 9)).due == ny(7, 6, 17)
    assert promises.promised(site=there, urgency="down", at=ny(7, 2, 9)).due == datetime(
        2026, 7, 3, 17, tzinfo=UTC
    )


def test_a_part_of_a_country_is_known_by_name_or_code_and_an_unknown_one_is_passed_over() -> None:
    # Patriots' Day in Massachusetts, third Monday of April (Mass. General Laws, ch. 4 s. 7).
    assert date(2026, 4, 20) in holidays_of("US", "MA", 2026)
    assert holidays_of("US", "Massachusetts", 2026) == holidays_of("US", "ma", 2026)
    assert date(2026, 4, 20) not in holidays_of("US", "", 2026)
    assert holidays_of("US", "Atlantis", 2026) == holidays_of("US", "", 2026)
    assert holidays_of("ZZ", "", 2026) == frozenset()
    assert {day.year for day in holidays_of("US", "", 2026)} >= {2025, 2026, 2027, 2028}


def test_days_closed_besides(world: World) -> None:
    site, other = world.site(), world.site("Harbour gate")
    tuesday, wednesday = date(2026, 3, 3), date(2026, 3, 4)
    closed = agreements.close_day(day=tuesday, why="stocktaking", actor=world.owner, now=NOW)
    agreements.close_day(day=wednesday, why="shut for works", site=site, actor=world.owner, now=NOW)
    assert promises.promised(site=site, urgency="down", at=ny(3, 2, 9)).due == ny(3, 5, 17)
    assert promises.promised(site=other, urgency="down", at=ny(3, 2, 9)).due == ny(3, 4, 17)
    with pytest.raises(Unacceptable):
        agreements.close_day(day=tuesday, why="again", actor=world.owner, now=NOW)
    agreements.open_day(closed=closed, actor=world.owner, now=NOW)
    assert promises.promised(site=other, urgency="down", at=ny(3, 2, 9)).due == ny(3, 3, 17)


def test_a_site_without_any_hour_is_promised_nothing_and_says_so(world: World) -> None:
    ServiceHours.objects.all().delete()
    promise = promises.promised(site=world.site(), urgency="down", at=NOW)
    assert promise.due is None
    assert promise.said == "by the end of the next working day, but no hours are open"


def test_hours_of_many_sites_cost_no_more_queries_than_of_one(
    world: World, django_assert_num_queries: Any
) -> None:
    Business.the()  # made when it is first asked for
    many: list[Site | None] = [world.site(f"Site {number}") for number in range(6)]
    with django_assert_num_queries(4):
        found = hours_of_many([*many, None], year=2026)
    assert found[many[0].pk] == hours_of(many[0], year=2026)  # type: ignore[union-attr]


def test_a_machine_that_stands_nowhere_follows_the_businesss_own_hours(world: World) -> None:
    assert promises.promised(site=None, urgency="down", at=ny(3, 2, 9)).due == ny(3, 3, 17)


def test_a_report_is_promised_and_the_promise_follows_its_urgency(
    lobby: Machine, owner: Person
) -> None:
    reported = ticket(lobby, "coins", ny(3, 2, 9))
    assert reported.promised_at == ny(3, 9, 17)
    assert reported.promised_by == "by the end of 5 working days"
    changed = changes.change(
        ticket=reported, changes={"urgency": "down"}, actor=owner, now=ny(3, 2, 10)
    )
    assert changed.promised_at == ny(3, 3, 17)


def test_a_clock_that_stands_pushes_the_promise_back_by_working_time(
    lobby: Machine, owner: Person
) -> None:
    """Waits from Monday 16:00 to Tuesday 10:00: an hour of Monday and two of Tuesday. Due Tuesday
    17:00 and three working hours more: Wednesday 11:00."""
    reported = ticket(lobby, "nothing_works", ny(3, 2, 9))
    assert reported.promised_at == ny(3, 3, 17)
    waits = moves.wait(
        ticket=reported, reason="a part is on its way", actor=owner, now=ny(3, 2, 16)
    )
    goes_on = moves.resume(ticket=waits, actor=owner, now=ny(3, 3, 10))
    assert goes_on.paused_minutes == 180
    assert goes_on.promised_at == ny(3, 4, 11)
    assert goes_on.promised_by.endswith("and 180 working minutes that it waited")
    again = moves.wait(ticket=goes_on, reason="another part", actor=owner, now=ny(3, 3, 10))
    on_site = moves.on_site(ticket=again, actor=owner, now=ny(3, 3, 11))
    assert on_site.paused_minutes == 240
    assert on_site.promised_at == ny(3, 4, 12)


def test_what_waits_over_the_week_end_loses_no_working_time(lobby: Machine, owner: Person) -> None:
    reported = ticket(lobby, "nothing_works", ny(3, 6, 9))
    waits = moves.wait(ticket=reported, reason="site shut", actor=owner, now=ny(3, 6, 17))
    goes_on = moves.resume(ticket=waits, actor=owner, now=ny(3, 9, 8))
    assert goes_on.paused_minutes == 0
    assert goes_on.promised_at == ny(3, 9, 17)


@pytest.mark.parametrize(
    "given",
    [
        {"kind": "working_hours", "amount": 0},
        {"kind": "working_hours", "amount": 1001},
        {"kind": "end_of_day", "amount": 61},
        {"kind": "at once", "amount": 1},
        {"kind": "end_of_day", "amount": -1},
    ],
)
def test_a_rule_that_cannot_be_is_refused(world: World, given: dict[str, Any]) -> None:
    with pytest.raises(Unacceptable):
        rule(world.owner, site=world.site(), urgency="down", **given)


def test_one_rule_an_urgency_and_place(world: World) -> None:
    with pytest.raises(Unacceptable):
        rule(world.owner, urgency="down", kind="end_of_day", amount=2)


def test_the_rule_for_everywhere_stays_and_a_sites_own_can_go(world: World) -> None:
    everywhere = PromiseRule.objects.get(site__isnull=True, urgency="down")
    with pytest.raises(Unacceptable, match="stays"):
        agreements.remove_rule(rule=everywhere, actor=world.owner, now=NOW)
    own = rule(world.owner, site=world.site(), urgency="down", kind="end_of_day", amount=0)
    agreements.remove_rule(rule=own, actor=world.owner, now=NOW)
    assert PromiseRule.objects.filter(site__isnull=False).count() == 0
    assert AuditEntry.objects.filter(verb="remove promise").exists()


def test_service_hours_are_set_all_at_once(world: World) -> None:
    nine_to_noon = [(day, time(9), time(12)) for day in range(3)]
    agreements.set_hours(windows=nine_to_noon, actor=world.owner, now=NOW)
    assert [str(row) for row in ServiceHours.objects.all()] == [
        "Monday 09:00–12:00",
        "Tuesday 09:00–12:00",
        "Wednesday 09:00–12:00",
    ]
    lapping = [*nine_to_noon, (0, time(11), time(13))]
    with pytest.raises(Unacceptable, match="lies before"):
        agreements.set_hours(windows=lapping, actor=world.owner, now=NOW)
    with pytest.raises(Unacceptable, match="at least one"):
        agreements.set_hours(windows=[], actor=world.owner, now=NOW)
    with pytest.raises(Unacceptable):
        agreements.set_hours(windows=[(0, time(9), time(9))], actor=world.owner, now=NOW)
    assert ServiceHours.objects.count() == 3
    entries = AuditEntry.objects.filter(object_type="tickets.ServiceHours")
    assert entries.filter(verb="remove service hours").count() == 5
    assert entries.filter(at__gte=NOW - timedelta(minutes=1)).count() == 8
