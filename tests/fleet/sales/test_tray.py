"""What waits in the tray, and what a person makes of it."""

import pytest

from fleet.machines.models import Machine
from fleet.sales.actions import tray
from fleet.sales.actions.rematch import match_again
from fleet.sales.models import AuditRead, EventOccurrence, MachineEvent, MachineInterval
from fleet.sales.outcome import Result
from people.errors import Unable, Unacceptable
from people.models import AuditEntry, Person
from tests.cast import NOW
from tests.fleet.sales.helpers import arrived, day, faults, hand_in, sold, take, told
from tests.fleet.sales.meter import Meter
from tests.world import World


@pytest.fixture
def meter() -> Meter:
    return Meter.with_buttons("1", "2")


def _read(pk: int | None) -> AuditRead:
    return AuditRead.objects.get(pk=pk)


def test_a_matched_read_takes_its_place(lobby: Machine, meter: Meter, dispatcher: Person) -> None:
    meter.asset, meter.serial, meter.board = "OLD-TAG", "S-1", ""
    strange = take(meter, day(0))
    meter.asset = "LOB-1"
    take(meter.sell("1", cash=3), day(1))
    assert not told(lobby)
    read = tray.match(
        read=_read(strange.read_id),
        machine=lobby,
        actor=dispatcher,
        now=NOW,
        reason="its tag was painted over",
    )
    assert (read.state, read.matched_by, read.place) == ("accepted", "person", 1)
    assert [sold(interval)["1"] for interval in told(lobby)] == [3]
    entry = AuditEntry.objects.filter(object_id=read.pk, verb="match read").get()
    assert (entry.before["state"], entry.after["state"]) == ("waiting", "accepted")
    assert entry.reason == "its tag was painted over"


def test_an_accepted_read_is_not_matched_again(
    lobby: Machine, meter: Meter, dispatcher: Person, world: World
) -> None:
    outcome = take(meter, day(0))
    other = world.machine("GYM-1", lobby.kind)
    with pytest.raises(Unable, match="set it aside first") as refused:
        tray.match(
            read=_read(outcome.read_id), machine=other, actor=dispatcher, now=NOW, reason="no"
        )
    assert refused.value.code == "read_accepted"


def test_a_damaged_read_may_be_accepted_all_the_same(
    lobby: Machine, meter: Meter, dispatcher: Person
) -> None:
    take(meter, day(0))
    data = meter.sell("1", cash=3).read(day(1), wrong_check=True)
    (outcome,) = hand_in(data, at=arrived(day(1)))
    read = tray.accept(
        read=_read(outcome.read_id), actor=dispatcher, now=NOW, reason="one letter of a name"
    )
    assert (read.state, read.waiting, read.settled_by) == ("accepted", [], dispatcher)
    (interval,) = told(lobby)
    assert sold(interval)["1"] == 3
    with pytest.raises(Unable, match="already"):
        tray.accept(read=read, actor=dispatcher, now=NOW, reason="again")


def test_a_damaged_read_of_no_known_machine_needs_both(
    lobby: Machine, meter: Meter, dispatcher: Person
) -> None:
    meter.asset, meter.serial, meter.board = "OLD-TAG", "", ""
    (outcome,) = hand_in(meter.read(day(0), wrong_check=True), at=arrived(day(0)))
    read = _read(outcome.read_id)
    with pytest.raises(Unable, match="which machine") as refused:
        tray.accept(read=read, actor=dispatcher, now=NOW, reason="it looks right")
    assert refused.value.code == "read_without_machine"
    read = tray.match(read=read, machine=lobby, actor=dispatcher, now=NOW, reason="by its site")
    assert (read.state, [reason["code"] for reason in read.waiting]) == (
        "waiting",
        ["check_value_wrong"],
    )
    read = tray.accept(read=read, actor=dispatcher, now=NOW, reason="it looks right")
    assert read.state == "accepted"


def test_a_copy_of_an_accepted_read_is_not_accepted(
    lobby: Machine, meter: Meter, dispatcher: Person
) -> None:
    (whole,) = hand_in(meter.read(day(0)), at=arrived(day(0)))
    meter.reads -= 1
    (damaged,) = hand_in(meter.read(day(0), wrong_check=True), at=arrived(day(0)))
    with pytest.raises(Unable, match=f"repeats read {whole.read_id}") as refused:
        tray.accept(read=_read(damaged.read_id), actor=dispatcher, now=NOW, reason="why not")
    assert refused.value.code == "read_repeated"
    assert _read(damaged.read_id).state == "waiting"


def test_setting_an_accepted_read_aside_joins_what_it_parted(
    lobby: Machine, meter: Meter, dispatcher: Person
) -> None:
    take(meter, day(0))
    wrong = take(meter.sell("1", cash=2), day(1))
    take(meter.sell("1", cash=5), day(2))
    assert [sold(interval)["1"] for interval in told(lobby)] == [2, 5]
    read = tray.set_aside(
        read=_read(wrong.read_id), actor=dispatcher, now=NOW, reason="from the training bench"
    )
    assert (read.state, read.place, read.taken_at) == ("set_aside", None, None)
    assert [sold(interval)["1"] for interval in told(lobby)] == [7]
    assert list(
        AuditRead.objects.filter(place__isnull=False).order_by("place").values_list("place")
    ) == [(1,), (2,)]
    back = tray.accept(read=read, actor=dispatcher, now=NOW, reason="it was right after all")
    assert back.place == 2
    assert [sold(interval)["1"] for interval in told(lobby)] == [2, 5]
    assert not faults(told(lobby))


@pytest.mark.parametrize("which", [0, 1, 2])
def test_any_read_may_go_first_or_last_as_well(
    lobby: Machine, meter: Meter, dispatcher: Person, which: int
) -> None:
    meter.events = ["EA2*EGS*0*1**1", "EA1*EGS*20260202*0500"]
    outcomes = [take(meter.sell("1", cash=n), day(n)) for n in range(3)]
    tray.set_aside(
        read=_read(outcomes[which].read_id), actor=dispatcher, now=NOW, reason="not ours"
    )
    assert sum(sold(interval)["1"] or 0 for interval in told(lobby)) == (2, 3, 1)[which]
    event = MachineEvent.objects.get()
    kept = [outcome.read_id for index, outcome in enumerate(outcomes) if index != which]
    assert (event.first_read_id, event.last_read_id) == (kept[0], kept[-1])
    assert event.active_since_id == kept[0]
    assert EventOccurrence.objects.get().read_id in kept


def test_the_only_read_may_go_and_its_events_with_it(
    lobby: Machine, meter: Meter, dispatcher: Person
) -> None:
    meter.events = ["EA2*EGS*0*1**1", "EA1*EGS*20260202*0500"]
    outcome = take(meter, day(0))
    tray.set_aside(read=_read(outcome.read_id), actor=dispatcher, now=NOW, reason="not ours")
    assert not MachineEvent.objects.exists()
    assert not EventOccurrence.objects.exists()
    assert not MachineInterval.objects.exists()


def test_a_read_set_aside_goes_to_another_machine_by_matching(
    lobby: Machine, meter: Meter, dispatcher: Person, world: World
) -> None:
    other = world.machine("GYM-1", lobby.kind)
    outcome = take(meter, day(0))
    read = tray.set_aside(
        read=_read(outcome.read_id), actor=dispatcher, now=NOW, reason="wrong tag in the board"
    )
    read = tray.match(
        read=read, machine=other, actor=dispatcher, now=NOW, reason="it stands in the gym"
    )
    assert (read.state, read.machine) == ("accepted", other)


def test_a_read_set_aside_handed_in_again_stays_aside(
    lobby: Machine, meter: Meter, dispatcher: Person
) -> None:
    data = meter.read(day(0))
    (outcome,) = hand_in(data, at=arrived(day(0)))
    tray.set_aside(read=_read(outcome.read_id), actor=dispatcher, now=NOW, reason="not ours")
    (again,) = hand_in(data, at=arrived(day(1)))
    assert again.result is Result.DUPLICATE
    assert "set aside" in again.said


@pytest.mark.parametrize("reason", ["", "  ", "x" * 301])
def test_every_decision_wants_a_reason(
    lobby: Machine, meter: Meter, dispatcher: Person, reason: str
) -> None:
    read = _read(take(meter, day(0)).read_id)
    for decide in (
        lambda: tray.set_aside(read=read, actor=dispatcher, now=NOW, reason=reason),
        lambda: tray.accept(read=read, actor=dispatcher, now=NOW, reason=reason),
        lambda: tray.match(read=read, machine=lobby, actor=dispatcher, now=NOW, reason=reason),
    ):
        with pytest.raises(Unacceptable) as refused:
            decide()
        assert set(refused.value.fields) == {"reason"}
    assert _read(read.pk).state == "accepted"


def test_reads_find_their_machine_once_it_is_entered(
    lobby: Machine, world: World, dispatcher: Person
) -> None:
    late_comer = Meter.with_buttons("1", "2", asset="NEW-1", serial="S-9", board="")
    for n in range(3):
        take(late_comer.sell("1", cash=n), day(n))
    (damaged,) = hand_in(late_comer.read(day(3), wrong_check=True), at=arrived(day(3)))
    stranger = take(Meter.with_buttons("1", asset="ELSEWHERE", serial="", board=""), day(0))
    assert match_again(actor=dispatcher, now=NOW) == ()
    machine = world.machine("NEW-1", lobby.kind)
    changed = match_again(actor=dispatcher, now=NOW)
    assert [read.state for read in changed] == ["accepted"] * 3 + ["waiting"]
    assert [sold(interval)["1"] for interval in told(machine)] == [1, 2]
    held = _read(damaged.read_id)
    assert (held.machine, [reason["code"] for reason in held.waiting]) == (
        machine,
        ["check_value_wrong"],
    )
    assert _read(stranger.read_id).state == "waiting"
    assert AuditEntry.objects.filter(verb="match read again", actor=dispatcher).count() == 4


def test_matching_again_takes_a_read_once(lobby: Machine, world: World, dispatcher: Person) -> None:
    meter = Meter.with_buttons("1", asset="NEW-1", serial="S-9", board="")
    take(meter, day(0))
    meter.reads, meter.events = 0, ["MA5*LAST*BY ANOTHER WAY"]
    again = take(meter, day(0))
    assert again.result is Result.WAITING
    world.machine("NEW-1", lobby.kind)
    assert len(match_again(actor=dispatcher, now=NOW)) == 1
    assert _read(again.read_id).state == "waiting"
