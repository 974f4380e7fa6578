"""Devices whose counters start afresh or roll over: nothing negative, and a person decides."""

import pytest

from fleet.machines.models import Machine
from fleet.sales.actions.decisions import decide_epoch, withdraw_decision
from fleet.sales.models import AuditRead, EpochDecision, MachineInterval
from people.errors import Unable, Unacceptable
from people.models import AuditEntry, Person
from tests.cast import NOW
from tests.fleet.sales.helpers import arrived, day, faults, hand_in, sold, take, told
from tests.fleet.sales.meter import Meter


@pytest.fixture
def swapped(lobby: Machine) -> Meter:
    """The board is replaced between the second and the third read; 6 are sold by the new one."""
    meter = Meter.with_buttons("1", "2")
    take(meter.sell("1", cash=50), day(0))
    take(meter.sell("1", cash=4), day(1))
    take(meter.new_board("ZZZ9002").sell("1", cash=6), day(2))
    take(meter.sell("1", cash=5), day(3))
    return meter


def _awaiting() -> MachineInterval:
    return MachineInterval.objects.get(awaits_decision=True)


def test_a_new_board_posts_nothing_until_a_person_decides(lobby: Machine, swapped: Meter) -> None:
    intervals = told(lobby)
    assert [interval.paid_units for interval in intervals] == [4, None, 5]
    waiting = intervals[1]
    assert (waiting.quality, waiting.sum_agrees) == ("awaits_decision", False)
    (board,) = [state for state in waiting.devices if state["device"] == "control_board"]
    assert (board["state"], board["reason"]) == ("new_epoch", "serial_changed")
    # The coin mechanism is another device and went on.
    assert waiting.cash_units == 6
    assert list(AuditRead.objects.order_by("place").values_list("epoch", flat=True)) == [1, 1, 2, 2]
    assert not faults(intervals)


def test_counting_from_zero_posts_what_the_new_board_shows(
    lobby: Machine, swapped: Meter, dispatcher: Person
) -> None:
    decide_epoch(
        interval=_awaiting(),
        device="control_board",
        choice="count_from_zero",
        reason="the board was replaced that morning",
        actor=dispatcher,
        now=NOW,
    )
    intervals = told(lobby)
    assert [interval.paid_units for interval in intervals] == [4, 6, 5]
    assert sold(intervals[1])["1"] == 6
    assert not MachineInterval.objects.filter(awaits_decision=True).exists()
    assert not faults(intervals)
    entry = AuditEntry.objects.get(object_type="sales.EpochDecision")
    assert (entry.actor, entry.reason) == (dispatcher, "the board was replaced that morning")


def test_leaving_out_posts_nothing_and_says_so(
    lobby: Machine, swapped: Meter, dispatcher: Person
) -> None:
    decide_epoch(
        interval=_awaiting(),
        device="control_board",
        choice="leave_out",
        reason="it came from another machine",
        actor=dispatcher,
        now=NOW,
    )
    interval = told(lobby)[1]
    assert (interval.paid_units, interval.awaits_decision) == (None, False)
    assert any("left out by decision" in why for why in interval.why_not)


def test_a_decision_outlives_a_late_read(lobby: Machine, dispatcher: Person) -> None:
    meter = Meter.with_buttons("1", "2")
    take(meter.sell("1", cash=50), day(0))
    take(meter.new_board("ZZZ9002").sell("1", cash=6), day(4))
    decide_epoch(
        interval=_awaiting(),
        device="control_board",
        choice="count_from_zero",
        reason="replaced",
        actor=dispatcher,
        now=NOW,
    )
    old = Meter.with_buttons("1", "2", coin=meter.coin)
    old.sell("1", cash=52).reads = 1
    hand_in(old.read(day(1)), at=arrived(day(5)))
    assert [interval.paid_units for interval in told(lobby)] == [2, 6]
    assert EpochDecision.objects.count() == 1


def test_a_withdrawn_decision_waits_again(
    lobby: Machine, swapped: Meter, dispatcher: Person
) -> None:
    decision = decide_epoch(
        interval=_awaiting(),
        device="control_board",
        choice="count_from_zero",
        reason="replaced",
        actor=dispatcher,
        now=NOW,
    )
    withdraw_decision(decision=decision, reason="it was not", actor=dispatcher, now=NOW)
    assert _awaiting().paid_units is None
    assert not EpochDecision.objects.exists()


def test_a_decision_is_withdrawn_once(lobby: Machine, swapped: Meter, dispatcher: Person) -> None:
    made = decide_epoch(
        interval=_awaiting(),
        device="control_board",
        choice="count_from_zero",
        reason="replaced",
        actor=dispatcher,
        now=NOW,
    )
    first, second = (EpochDecision.objects.get(pk=made.pk) for _ in range(2))
    withdraw_decision(decision=first, reason="it was not", actor=dispatcher, now=NOW)
    with pytest.raises(Unable) as refused:
        withdraw_decision(decision=second, reason="it was not", actor=dispatcher, now=NOW)
    assert refused.value.code == "decision_withdrawn"
    assert AuditEntry.objects.filter(verb__startswith="withdraw").count() == 1


def test_a_second_decision_takes_the_place_of_the_first(
    lobby: Machine, swapped: Meter, dispatcher: Person
) -> None:
    for choice, units in (("leave_out", None), ("count_from_zero", 6)):
        decide_epoch(
            interval=told(lobby)[1],
            device="control_board",
            choice=choice,
            reason="on second thoughts",
            actor=dispatcher,
            now=NOW,
        )
        assert told(lobby)[1].paid_units == units
    assert EpochDecision.objects.count() == 1


@pytest.mark.parametrize(
    ("changes", "refusal"),
    [
        ({"reason": " "}, "say why"),
        ({"choice": "guess"}, "one of"),
        ({"device": "hopper"}, "one of"),
    ],
)
def test_a_decision_wants_a_choice_a_device_and_a_reason(
    lobby: Machine, swapped: Meter, dispatcher: Person, changes: dict[str, str], refusal: str
) -> None:
    given = {"device": "control_board", "choice": "leave_out", "reason": "replaced"} | changes
    with pytest.raises(Unacceptable, match=refusal) as refused:
        decide_epoch(interval=_awaiting(), actor=dispatcher, now=NOW, **given)
    assert set(refused.value.fields) == set(changes)
    assert not EpochDecision.objects.exists()


def test_where_counters_went_on_there_is_nothing_to_decide(
    lobby: Machine, swapped: Meter, dispatcher: Person
) -> None:
    with pytest.raises(Unable, match="went on"):
        decide_epoch(
            interval=told(lobby)[0],
            device="control_board",
            choice="leave_out",
            reason="replaced",
            actor=dispatcher,
            now=NOW,
        )


def test_a_counter_that_rolls_over_goes_on(lobby: Machine) -> None:
    """VA101 has eight digits and CA202 six: each begins again at zero after all nines."""
    meter = Meter.with_buttons("1", "2", price=175)
    meter.base_minor, meter.base_count = 99_999_900, 571_428
    meter.base_cash, meter.base_cash_minor = 999_998, 50_000_000
    take(meter, day(0))
    take(meter.sell("1", cash=4), day(1))
    (interval,) = told(lobby)
    assert (interval.paid_units, interval.paid_minor) == (4, 700)
    assert (interval.cash_units, interval.cash_minor) == (4, 700)
    assert "counter_wrapped" in [warning["code"] for warning in interval.warnings]
    assert not faults([interval])


def test_a_new_coin_mechanism_concerns_cash_alone(lobby: Machine) -> None:
    meter = Meter.with_buttons("1", "2")
    take(meter.sell("1", cash=30, cashless=20), day(0))
    meter.coin = "ZZZ5002"
    meter.base_cash = -30
    meter.base_cash_minor = -30 * 175
    take(meter.sell("1", cash=3, cashless=2), day(1))
    (interval,) = told(lobby)
    assert (interval.paid_units, interval.cashless_units, interval.cash_units) == (5, 2, None)
    assert sold(interval)["1"] == 5
    assert interval.awaits_decision
    assert not faults([interval])
