"""Events in reads become records: what stands now, since when, what happened, what it means."""

import pytest

from fleet.machines.models import Machine
from fleet.sales.actions.meanings import delete_meaning, save_meaning
from fleet.sales.models import EventMeaning, EventOccurrence, MachineEvent
from fleet.sales.queries.events import active_events, events_of, occurrences_of
from people.errors import Unable, Unacceptable
from people.models import Person
from tests.cast import NOW
from tests.fleet.sales.helpers import arrived, day, hand_in, take
from tests.fleet.sales.meter import Meter

JAM = ["EA1*EJB_1*20260201*193011*12", "EA2*EJB_1*1*3**1*1295"]
JAM_OVER = ["EA1*EJB_1*20260201*193011*12", "EA2*EJB_1*1*3**0*1295"]


@pytest.fixture
def meter() -> Meter:
    return Meter.with_buttons("1", "2")


def test_an_active_event_stands_with_its_meaning(lobby: Machine, meter: Meter) -> None:
    meter.events = JAM
    outcome = take(meter, day(0))
    (said,) = active_events([lobby.pk])
    assert (said.event.code, said.event.base, said.event.qualifier) == ("EJB_1", "EJB", "1")
    assert (said.event.count_ever, said.event.total_minutes) == (3, 1295)
    assert said.event.active_since_id == outcome.read_id
    assert said.event.last_text == "20260201 193011"
    assert "motor" in said.meaning.words.lower()
    assert said.said().endswith("at 1")
    (occurrence,) = occurrences_of(lobby)
    assert (occurrence.happened_at, occurrence.minutes) == (
        day(-1).replace(hour=19, minute=30, second=11),
        12,
    )


def test_one_occurrence_told_by_many_reads_is_one_record(lobby: Machine, meter: Meter) -> None:
    meter.events = JAM
    first = take(meter, day(0))
    take(meter, day(1))
    assert EventOccurrence.objects.get().read_id == first.read_id


def test_an_event_that_is_over_stays_on_record(lobby: Machine, meter: Meter) -> None:
    meter.events = JAM
    first = take(meter, day(0))
    second = take(meter, day(1))
    assert MachineEvent.objects.get().active_since_id == first.read_id
    meter.events = JAM_OVER
    third = take(meter, day(2))
    event = MachineEvent.objects.get()
    assert (event.is_active, event.active_since) == (False, None)
    assert (event.first_read_id, event.last_read_id) == (first.read_id, third.read_id)
    assert not active_events()
    meter.events = []
    take(meter, day(3))
    assert MachineEvent.objects.get().last_read_id == third.read_id
    assert second.read_id


def test_an_event_missing_from_the_latest_read_is_not_active(lobby: Machine, meter: Meter) -> None:
    meter.events = JAM
    take(meter, day(0))
    meter.events = []
    take(meter, day(1))
    assert not active_events()
    assert len(events_of(lobby)) == 1


def test_a_late_read_says_since_when_and_changes_nothing_now(lobby: Machine, meter: Meter) -> None:
    meter.events = JAM_OVER
    take(meter, day(0))
    meter.events = JAM
    late = meter.read(day(1))
    latest = take(meter, day(2))
    assert MachineEvent.objects.get().active_since_id == latest.read_id
    (outcome,) = hand_in(late, at=arrived(day(3)))
    assert MachineEvent.objects.get().active_since_id == outcome.read_id


def test_a_late_read_without_the_event_moves_since_when_on(lobby: Machine, meter: Meter) -> None:
    meter.events = JAM
    take(meter, day(0))
    meter.events = JAM_OVER
    late = meter.read(day(1))
    meter.events = JAM
    latest = take(meter, day(2))
    hand_in(late, at=arrived(day(3)))
    event = MachineEvent.objects.get()
    assert (event.is_active, event.active_since_id) == (True, latest.read_id)


def test_a_kind_may_have_its_own_meaning(lobby: Machine, meter: Meter, dispatcher: Person) -> None:
    meter.events = JAM
    take(meter, day(0))
    own = save_meaning(
        changes={
            "base": "EJB",
            "kind": lobby.kind,
            "words": "Cradle did not come home",
            "urgency": "now",
            "job": "repair",
        },
        actor=dispatcher,
        now=NOW,
    )
    (said,) = active_events()
    assert (said.meaning.words, said.meaning.urgency) == ("Cradle did not come home", "now")
    delete_meaning(meaning=own, actor=dispatcher, now=NOW)
    (said,) = active_events()
    assert "motor" in said.meaning.words.lower()


def test_a_meaning_can_be_reworded_and_not_doubled(db: None, dispatcher: Person) -> None:
    general = EventMeaning.objects.filter(base="EGS", kind=None).first() or save_meaning(
        changes={
            "base": "EGS",
            "group": "EG",
            "about": "cabinet",
            "words": "Door open",
            "urgency": "none",
            "job": "none",
        },
        actor=dispatcher,
        now=NOW,
    )
    save_meaning(meaning=general, changes={"words": "Door stands open"}, actor=dispatcher, now=NOW)
    general.refresh_from_db()
    assert general.words == "Door stands open"
    with pytest.raises(Unacceptable):
        save_meaning(
            changes={"base": "EGS", "words": "Again", "urgency": "none", "job": "none"},
            actor=dispatcher,
            now=NOW,
        )
    with pytest.raises(Unable, match="stays"):
        delete_meaning(meaning=general, actor=dispatcher, now=NOW)


def test_a_makers_own_code_is_kept_and_grouped_by_its_letters(lobby: Machine, meter: Meter) -> None:
    meter.events = ["EA2*EBM_1*1*1**1", "EA2*XQ*1*1**1"]
    take(meter, day(0))
    said = {each.event.code: each.meaning for each in active_events()}
    assert said["EBM_1"].about == "cup system"
    assert not said["XQ"].known
