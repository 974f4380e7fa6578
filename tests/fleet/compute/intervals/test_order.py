from dataclasses import replace
from datetime import UTC, timedelta
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.compute.intervals.order import PlacedBy, in_order, places
from tests.fleet.compute.intervals.machine import small

DAY, HOUR = timedelta(days=1), timedelta(hours=1)


def keys(reads):
    return [read.key for read in in_order(reads)]


def days_of(machine, count, first=0, **keywords):
    """Daily reads 0, 1, 2, ... with a sale on each day."""
    reads = []
    for day in range(first, first + count):
        machine.vend("11", times=3)
        machine.pass_time(24)
        reads.append(machine.read(str(day), **keywords))
    return reads


def test_a_read_received_late_stands_where_it_was_taken():
    reads = days_of(small(), 5)
    reads[2] = replace(reads[2], received_at=reads[2].received_at + timedelta(days=12))
    assert keys(reads) == ["0", "1", "2", "3", "4"]
    late = places(reads)[2]
    assert late.late
    assert late.placed_by is PlacedBy.CLOCK_RECEIVED_LATE
    assert "received after reads that were taken later" in late.reason
    assert [place.epoch for place in places(reads)] == [1] * 5


def test_a_late_read_without_a_clock_stands_where_its_counters_say():
    reads = days_of(small(), 5)
    reads[2] = replace(
        reads[2], received_at=reads[2].received_at + timedelta(days=12), machine_clock=None
    )
    assert keys(reads) == ["0", "1", "2", "3", "4"]
    assert places(reads)[2].placed_by is PlacedBy.COUNTER


def test_a_machine_that_never_sends_a_clock_goes_by_receipt_and_counters():
    reads = days_of(small(), 6, clock=False)
    reads[1] = replace(reads[1], received_at=reads[1].received_at + timedelta(days=9))
    assert keys(reads) == ["0", "1", "2", "3", "4", "5"]


def test_a_counter_that_falls_while_the_clock_goes_on_is_a_new_start_and_not_late():
    machine = small(serial=None)
    reads = days_of(machine, 4)
    machine.swap_board(None)
    reads += days_of(machine, 3, first=4)
    assert keys(reads) == list("0123456")
    assert [place.epoch for place in places(reads)] == [1, 1, 1, 1, 2, 2, 2]
    assert not any(place.late for place in places(reads))


def test_a_new_start_without_a_clock_is_known_by_counters_near_zero():
    machine = small(serial=None, reads=500)
    machine.vend("11", times=1000)
    reads = days_of(machine, 4, clock=False)
    machine.swap_board(None)
    reads += days_of(machine, 3, first=4, clock=False)
    assert keys(reads) == list("0123456")
    assert [place.epoch for place in places(reads)] == [1, 1, 1, 1, 2, 2, 2]


def test_a_late_read_of_the_board_before_stands_among_its_own():
    machine = small()
    reads = days_of(machine, 4)
    machine.swap_board()
    reads += days_of(machine, 3, first=4)
    for late in (1, 3):
        reads[late] = replace(reads[late], received_at=reads[late].received_at + 20 * DAY)
    assert keys(reads) == list("0123456")
    assert [place.epoch for place in places(reads)] == [1, 1, 1, 1, 2, 2, 2]


def test_a_clock_that_fell_back_to_an_old_year_does_not_move_the_read():
    reads = days_of(small(), 5)
    for index in (2, 3):
        clock = reads[index].machine_clock.replace(year=2010)
        reads[index] = replace(reads[index], machine_clock=clock)
    assert keys(reads) == list("01234")
    assert places(reads)[2].placed_by is PlacedBy.RECEIVED


def test_a_clock_some_days_slow_is_not_taken_for_delay():
    reads = days_of(small(), 6)
    reads[4] = replace(reads[4], machine_clock=reads[4].machine_clock - 3 * DAY)
    assert keys(reads) == list("012345")
    assert places(reads)[4].placed_by is PlacedBy.RECEIVED
    assert [place.epoch for place in places(reads)] == [1] * 6


def test_a_late_read_from_before_the_first_known_one_comes_first():
    machine = small(reads=500)
    machine.vend("11", times=1000)
    reads = days_of(machine, 4, clock=False)
    reads[0] = replace(reads[0], received_at=reads[0].received_at + 9 * DAY)
    assert keys(reads) == list("0123")
    assert [place.epoch for place in places(reads)] == [1] * 4


def test_the_newest_read_with_an_old_clock_stays_the_newest():
    reads = days_of(small(), 3)
    reads[2] = replace(reads[2], machine_clock=reads[2].machine_clock.replace(year=2010))
    assert keys(reads) == list("012")


def test_a_clock_set_back_between_two_reads_yields_to_the_counters():
    machine = small()
    machine.vend("11", times=50)
    first = machine.read("0")
    machine.vend("11")
    machine.pass_time(0.5)
    second = machine.read("1", clock_error=-HOUR)
    assert keys([second, first]) == ["0", "1"]
    assert all(place.placed_by is PlacedBy.COUNTER for place in places([first, second]))


def test_two_reads_in_one_minute_stand_by_their_counters():
    machine = small()
    machine.vend("11", times=50)
    first = machine.read("0", delay=HOUR)
    machine.vend("11")
    second = machine.read("1")
    assert first.machine_clock == second.machine_clock
    assert keys([first, second]) == keys([second, first]) == ["0", "1"]


def test_reads_carried_in_a_hand_held_reader_and_delivered_together_keep_their_order():
    machine = small(serial=None)
    reads = days_of(machine, 4)
    machine.swap_board(None)
    reads += days_of(machine, 3, first=4)
    delivered = max(read.received_at for read in reads) + 6 * DAY
    reads = [
        replace(read, received_at=delivered - timedelta(seconds=index))
        for index, read in enumerate(reads)
    ]
    assert keys(reads) == list("0123456")
    assert [place.epoch for place in places(reads)] == [1, 1, 1, 1, 2, 2, 2]


def test_the_same_read_twice_or_by_two_routes_takes_part_once():
    reads = days_of(small(), 3)
    reads = [replace(read, this_read_at=read.machine_clock) for read in reads]
    again = replace(reads[1], key="copy", received_at=reads[1].received_at + 3 * DAY)
    assert keys([*reads, reads[0], again]) == list("012")
    copy = next(place for place in places([*reads, again]) if place.snapshot.key == "copy")
    assert copy.duplicate_of == "1"


def test_one_key_for_two_reads_is_refused():
    first, second = days_of(small(), 2)
    with pytest.raises(ValueError, match="two different reads bear the key '0'"):
        in_order([first, replace(second, key="0")])


def test_the_zone_decides_what_a_clock_means():
    first, second = days_of(small(), 2)
    assert keys([first, second]) == ["0", "1"]
    assert [read.key for read in in_order([second, first], UTC)] == ["0", "1"]


@given(
    st.lists(st.integers(0, 40), min_size=1, max_size=12),
    st.integers(0, 11),
    st.booleans(),
    st.integers(0, 2**32),
)
def test_reads_come_out_as_they_were_taken_in_whatever_order_they_are_given(
    delays_days, swap_after, has_serial, seed
):
    machine = small(serial="BOARD-1" if has_serial else None)
    machine.vend("11", times=1000)
    machine.reads = 500
    reads = []
    for index, delay in enumerate(delays_days):
        if index == swap_after:
            machine.swap_board("BOARD-2" if has_serial else None)
        machine.vend("11", times=2)
        machine.pass_time(24)
        reads.append(machine.read(f"{index:02d}", delay=delay * DAY))
    given_order = list(reads)
    Random(seed).shuffle(given_order)
    assert in_order(given_order) == tuple(reads)


@given(st.data())
def test_the_order_never_depends_on_how_the_reads_are_given(data):
    """Even for clocks, delays and counters that make no sense together."""
    machine = small()
    reads = []
    for index in range(data.draw(st.integers(1, 8))):
        machine.reads = data.draw(st.integers(0, 6))
        machine.counts["11"].cash = data.draw(st.integers(0, 6))
        machine.pass_time(data.draw(st.integers(0, 60)))
        reads.append(
            machine.read(
                str(index),
                delay=data.draw(st.integers(0, 90)) * HOUR,
                clock_error=data.draw(st.integers(-90, 90)) * HOUR,
                clock=data.draw(st.booleans()),
            )
        )
    shuffled = data.draw(st.permutations(reads))
    assert in_order(shuffled) == in_order(reads)
    assert {read.key for read in in_order(reads)} == {read.key for read in reads}
