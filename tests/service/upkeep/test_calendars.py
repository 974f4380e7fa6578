"""Calendar addresses, and the calendar they give, read by another library."""

from datetime import date, timedelta

import pytest
import vobject

from fleet.machines.models import Machine
from people.errors import NotAllowed, Unable, Unacceptable
from people.models import AuditEntry, Person
from service.upkeep.actions import calendars, due
from service.upkeep.feed import calendar
from service.upkeep.models import CalendarAddress, DueWork
from service.upkeep.queries.feed import turns_shown
from tests.cast import NOW
from tests.service.upkeep.plans import Plans

TODAY = NOW.date()
DESK = "https://desk.example.org"


def test_the_secret_is_kept_nowhere(driver: Person) -> None:
    address, secret = calendars.make(
        person=driver, name=" Phone ", shows="mine", actor=driver, now=NOW
    )
    assert address.name == "Phone"
    assert secret not in str(CalendarAddress.objects.values().get())
    assert all(secret not in str(one) for one in AuditEntry.objects.values())
    opened = calendars.opened_by(secret=secret, now=NOW)
    assert opened == address
    address.refresh_from_db()
    assert address.last_used_at == NOW


def test_taken_away_it_opens_nothing(driver: Person, owner: Person, other_driver: Person) -> None:
    address, secret = calendars.make(
        person=driver, name="Phone", shows="mine", actor=driver, now=NOW
    )
    with pytest.raises(NotAllowed):
        calendars.revoke(address=address, actor=other_driver, now=NOW)
    assert calendars.revoke(address=address, actor=owner, now=NOW).revoked_by == owner
    assert calendars.opened_by(secret=secret, now=NOW) is None
    assert calendars.opened_by(secret="guessed", now=NOW) is None


def test_whoever_left_sees_nothing_more(driver: Person) -> None:
    _, secret = calendars.make(person=driver, name="Phone", shows="mine", actor=driver, now=NOW)
    Person.objects.filter(pk=driver.pk).update(is_active=False)
    assert calendars.opened_by(secret=secret, now=NOW) is None


def test_who_may_make_one(driver: Person, owner: Person, no_role: Person) -> None:
    with pytest.raises(NotAllowed):
        calendars.make(person=driver, name="Phone", shows="mine", actor=owner, now=NOW)
    with pytest.raises(NotAllowed):
        calendars.make(person=no_role, name="Phone", shows="all", actor=no_role, now=NOW)
    for name, shows in (("", "mine"), ("Phone", "hers")):
        with pytest.raises(Unacceptable):
            calendars.make(person=driver, name=name, shows=shows, actor=driver, now=NOW)
    for number in range(calendars.MOST):
        calendars.make(person=driver, name=str(number), shows="mine", actor=driver, now=NOW)
    with pytest.raises(Unable, match="take one away"):
        calendars.make(person=driver, name="more", shows="mine", actor=driver, now=NOW)


def read(address: CalendarAddress, desk: str = DESK) -> tuple[bytes, vobject.base.Component]:
    made = calendar(turns_shown(address, TODAY), name="Upkeep", desk=desk)
    return made, vobject.readOne(made.decode())


def test_another_library_reads_the_calendar(
    plan: Plans, lobby: Machine, driver: Person, dispatcher: Person
) -> None:
    coil = plan(
        "Condenser coil, screen; and fan",
        checklist=["Brushed: fins, screen; fan", "A line that is long enough to be folded, " * 3],
        cautions="Unplug it first.",
    )
    turn = DueWork.objects.get(plan=coil)
    address, _ = calendars.make(
        person=dispatcher, name="Desk", shows="all", actor=dispatcher, now=NOW
    )
    made, found = read(address)
    event = found.vevent
    assert event.uid.value == f"upkeep-{turn.pk}@desk.example.org"
    assert event.dtstart.value == turn.day
    assert isinstance(event.dtstart.value, date)
    assert event.dtend.value == turn.day + timedelta(days=1)
    assert event.summary.value == "Condenser coil, screen; and fan: LOB-1"
    assert event.location.value.startswith("Ferry landing")
    assert event.dtstamp.value == turn.changed_at
    assert event.sequence.value == "0"
    assert "Brushed: fins, screen; fan" in event.description.value
    assert "Unplug it first." in event.description.value
    assert event.url.value == f"{DESK}/upkeep/record/{coil.pk}/{lobby.pk}/"
    assert found.version.value == "2.0"
    lines = made.split(b"\r\n")
    assert b"REFRESH-INTERVAL;VALUE=DURATION:PT6H" in lines
    assert max(map(len, lines)) <= 75  # octets a line (RFC 5545, 3.1)
    assert made.endswith(b"END:VCALENDAR\r\n")
    assert b"\n" not in made.replace(b"\r\n", b"")


def test_a_move_keeps_the_uid_and_raises_the_sequence(
    plan: Plans, lobby: Machine, dispatcher: Person
) -> None:
    plan()
    address, _ = calendars.make(
        person=dispatcher, name="Desk", shows="all", actor=dispatcher, now=NOW
    )
    _, before = read(address)
    turn = DueWork.objects.get()
    to = TODAY + timedelta(days=40)
    due.put_off(due=turn, to=to, why="site closed", actor=dispatcher, now=NOW + timedelta(hours=1))
    _, after = read(address)
    assert after.vevent.uid.value == before.vevent.uid.value
    assert int(after.vevent.sequence.value) == int(before.vevent.sequence.value) + 1
    assert after.vevent.dtstart.value == to
    assert "site closed" in after.vevent.description.value


def test_it_shows_mine_or_everybodys(
    plan: Plans, lobby: Machine, driver: Person, dispatcher: Person
) -> None:
    plan()
    mine, _ = calendars.make(person=driver, name="Phone", shows="mine", actor=driver, now=NOW)
    everybodys, _ = calendars.make(person=driver, name="Wall", shows="all", actor=driver, now=NOW)
    assert not turns_shown(mine, TODAY).exists()
    assert turns_shown(everybodys, TODAY).count() == 1
    due.give(due=DueWork.objects.get(), to=driver, actor=dispatcher, now=NOW)
    assert turns_shown(mine, TODAY).count() == 1
    far = TODAY + timedelta(days=200)
    DueWork.objects.update(due_on=far, day=far)
    assert not turns_shown(everybodys, TODAY).exists()
    assert "VEVENT" not in read(mine)[0].decode()
