from dataclasses import replace
from datetime import datetime

import pytest

from fleet.compute.intervals.cut import cut
from fleet.compute.intervals.decisions import CarryOn, CountFromZero, LeaveOut
from fleet.compute.intervals.figures import Device, line_counters, total_counters
from fleet.compute.intervals.interval import CounterState, NewEpochReason, Quality, Treatment
from fleet.compute.intervals.snapshot import Snapshot
from tests.fleet.compute.intervals.machine import (
    START,
    Machine,
    a_day,
    small,
    with_line,
    with_total,
)

BOARD = Device.CONTROL_BOARD


def swapped(serial="BOARD-2"):
    """A board that sold 150, replaced; the new one sold 6 of 11 before it was read."""
    machine = small()
    machine.vend("11", times=100)
    machine.vend("12", "cashless", times=50)
    before = machine.read("a")
    machine.swap_board(serial)
    machine.vend("11", times=6)
    machine.pass_time()
    return before, machine.read("b")


@pytest.mark.parametrize(
    ("serial", "reason"),
    [
        ("BOARD-2", NewEpochReason.SERIAL_CHANGED),
        ("BOARD-1", NewEpochReason.COUNTER_FELL),
        (None, NewEpochReason.COUNTER_FELL),
    ],
)
def test_a_new_board_posts_nothing_until_decided_while_the_devices_go_on(serial, reason):
    interval = cut(*swapped(serial))
    board = interval.device(BOARD)
    assert (board.state, board.reason) == (CounterState.NEW_EPOCH, reason)
    assert board.treatment is Treatment.AWAITS_DECISION
    assert interval.quality is Quality.AWAITS_DECISION
    assert all(line.sold.paid_count is None for line in interval.lines)
    assert interval.machine.paid_count is None
    assert (interval.machine.cash_count, interval.machine.cash_value_minor) == (6, 720)
    assert any("until a person decides" in why for why in interval.why_not)
    assert any("cash 6 vends, 720" in why for why in interval.why_not)


def test_a_person_may_count_from_zero_or_leave_out():
    before, after = swapped()
    counted = cut(before, after, [CountFromZero(BOARD, "a", "b")])
    assert counted.line("11").sold.paid_count == 6
    assert counted.line("11").cash_count == 6
    assert counted.machine.paid_value_minor == 720
    assert counted.unassigned.paid_count == 0
    assert counted.why_not == ()
    assert counted.decisions == (CountFromZero(BOARD, "a", "b"),)

    left = cut(before, after, [LeaveOut(BOARD, "a", "b")])
    assert left.machine.paid_count is None
    assert left.machine.cash_count == 6
    assert left.quality is Quality.PARTIAL
    assert any("left out by decision" in why for why in left.why_not)


def test_a_decision_about_other_reads_or_other_devices_has_no_effect():
    before, after = swapped()
    elsewhere = [CountFromZero(BOARD, "a", "c"), CountFromZero(Device.COIN_MECHANISM, "a", "b")]
    interval = cut(before, after, elsewhere)
    assert interval.device(BOARD).treatment is Treatment.AWAITS_DECISION
    assert interval.machine.cash_count == 6
    assert "decision_not_needed" in interval.note_codes()
    assert interval.decisions == ()


def test_only_the_serial_changed_and_the_counters_carry_on():
    _, before, after = a_day()
    after = replace(after, board_serial="BOARD-1A")
    assert cut(before, after).quality is Quality.AWAITS_DECISION
    interval = cut(before, after, [CarryOn(BOARD, "a", "b")])
    assert interval.machine.paid_count == 9
    assert interval.line("11").sold.paid_count == 5


def test_carrying_on_over_a_counter_that_fell_stays_unknown():
    interval = cut(*swapped(), [CarryOn(BOARD, "a", "b")])
    assert interval.machine.paid_count is None
    assert interval.line("11").sold.paid_count is None


def test_initialising_starts_the_board_afresh():
    _, before, after = a_day()
    before = replace(before, initialised_at=datetime.fromisoformat("2024-01-15T09:30"))
    after = replace(after, initialised_at=datetime.fromisoformat("2026-03-02T11:00"))
    assert cut(before, after).device(BOARD).reason is NewEpochReason.INITIALISED


@pytest.mark.parametrize(
    ("field", "device", "figure"),
    [
        ("coin_serial", Device.COIN_MECHANISM, "cash_count"),
        ("cashless_1_serial", Device.CASHLESS_1, "cashless_1_count"),
    ],
)
def test_a_new_payment_device_touches_only_its_own_counters(field, device, figure):
    _, before, after = a_day()
    interval = cut(replace(before, **{field: "OLD"}), replace(after, **{field: "NEW"}))
    assert interval.device(device).state is CounterState.NEW_EPOCH
    assert getattr(interval.machine, figure) is None
    assert interval.machine.paid_count == 9
    assert interval.line("11").cash_count == 3


def test_a_serial_that_is_sent_only_once_is_no_change():
    _, before, after = a_day()
    assert cut(before, replace(after, board_serial=None)).quality is Quality.WHOLE


def test_a_used_board_with_a_higher_count_shows_by_its_selections():
    machine = small()
    machine.vend("11", times=100)
    machine.vend("12", times=50)
    before = machine.read("a")
    used = Machine(prices=machine.prices, serial=None, coin_serial=None)
    used.vend("11", times=400)
    used.vend("12", times=20)
    interval = cut(before, used.read("b"))
    # The total rose by 270, but selection 11 alone rose by 300 and 12 fell.
    assert interval.device(BOARD).reason is NewEpochReason.COUNTER_FELL
    assert all(line.sold.paid_count is None for line in interval.lines)


def test_rolled_over_counters_are_counted_across_the_top():
    machine = small()
    for counts in (machine.counts["11"], machine.coin_counts):
        counts.cash, counts.cash_minor = 999_995, 99_999_640
    before = machine.read("a")
    machine.vend("11", times=12)
    interval = cut(before, machine.read("b"))
    assert interval.line("11").sold.paid_count == 12
    assert interval.line("11").sold.paid_value_minor == 1440
    assert interval.machine.cash_count == 12  # CA202 has six digits, PA201 eight
    assert interval.machine.cash_value_minor == 1440
    assert interval.device(Device.COIN_MECHANISM).state is CounterState.WRAPPED
    assert interval.device(BOARD).state is CounterState.WRAPPED
    assert interval.unassigned.paid_count == 0
    assert interval.why_not == ()


def test_money_that_wraps_further_than_sales_allow_is_a_new_start():
    machine = small()
    counts = machine.counts["11"]
    counts.cash, counts.cash_minor = 900_000, 99_999_000
    before = machine.read("a")
    counts.cash += 3
    counts.cash_minor += 1_000_000
    interval = cut(before, machine.read("b"))
    assert interval.device(BOARD).reason is NewEpochReason.COUNTER_FELL


NO_EVER = {"paid_count": None, "paid_value_minor": None}


def read_with_resets(key, resets, since_reset, at, previous=None, mode="SAVE"):
    """A machine that sends only since-reset counters."""
    machine = Machine(prices={"11": 120}, coin_serial=None)
    read = with_total(
        machine.read(key, clock=False), **NO_EVER, cash_count=None, cash_value_minor=None
    )
    ever = line_counters()
    counts = line_counters(paid_count=since_reset, paid_value_minor=since_reset * 120)
    return replace(
        with_line(read, "11", ever=ever, since_reset=counts, payments=()),
        totals_since_reset=total_counters(
            paid_count=since_reset, paid_value_minor=since_reset * 120
        ),
        resets_counter=resets,
        this_read_at=at,
        previous_read_at=previous,
        reset_mode=mode,
    )


FIRST, SECOND = (
    datetime.fromisoformat("2026-03-02T06:00"),
    datetime.fromisoformat("2026-03-03T06:00"),
)


@pytest.mark.parametrize(
    ("before", "after", "sold"),
    [
        # nobody reset: the difference
        (("a", 7, 10, FIRST), ("b", 7, 25, SECOND), 15),
        # the first read itself reset: all of the second
        (("a", 7, 30, FIRST), ("b", 8, 12, SECOND, FIRST), 12),
        # reset once, but not at the first read
        (
            ("a", 7, 30, FIRST),
            ("b", 8, 12, SECOND, datetime.fromisoformat("2026-03-02T20:00")),
            None,
        ),
        # reset twice
        (("a", 7, 30, FIRST), ("b", 9, 12, SECOND, FIRST), None),
        # how often it was reset is not known
        (("a", None, 10, FIRST), ("b", None, 25, SECOND), None),
        # whether the rise is from the first read cannot be told
        (("a", 7, 10, FIRST), ("b", 8, 25, SECOND, FIRST), None),
    ],
)
def test_since_reset_counters_serve_only_where_nobody_else_reset(before, after, sold):
    interval = cut(read_with_resets(*before), read_with_resets(*after))
    assert interval.line("11").sold.paid_count == sold
    assert interval.machine.paid_count == sold


def test_a_read_must_say_when_it_was_received_with_its_offset():
    with pytest.raises(ValueError, match="read x: received_at must carry an offset"):
        Snapshot(key="x", received_at=START.replace(tzinfo=None))
