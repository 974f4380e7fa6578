"""Properties over any chain of reads, against true sales that no interval arithmetic touched."""

from dataclasses import replace
from datetime import timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.compute.intervals.chain import chain, recut
from fleet.compute.intervals.decisions import CountFromZero
from fleet.compute.intervals.figures import LINE_FIGURES, TOTAL_FIGURES, Device
from fleet.compute.intervals.interval import Quality
from tests.fleet.compute.intervals.machine import Machine, small

DAY = timedelta(days=1)
BOARD = Device.CONTROL_BOARD
PRICES = {"11": 120, "12": 150, "A1": 90}

sales = st.lists(
    st.tuples(
        st.sampled_from(sorted(PRICES)),
        st.sampled_from(["cash", "cashless", "test", "free"]),
        st.integers(1, 30),
    ),
    max_size=6,
)
days = st.lists(st.tuples(sales, st.integers(0, 20)), min_size=2, max_size=8)


def started(data) -> Machine:
    """A machine whose counters stand anywhere, the tops of their ranges included."""
    machine = Machine(prices=PRICES)
    near_top = st.one_of(st.integers(0, 10**6), st.integers(99_999_000, 99_999_999))
    for counts in machine.counts.values():
        counts.cash = data.draw(st.integers(0, 5000))
        counts.cash_minor = data.draw(near_top)
    machine.coin_counts.cash = data.draw(
        st.one_of(st.integers(0, 5000), st.integers(999_900, 999_999))
    )
    return machine


def run(machine, plan, swap_on=None):
    """Daily reads, some received late, and the true sales of each day by selection."""
    reads, truth = [], []
    for day, (vends, delay) in enumerate(plan):
        if day == swap_on:
            machine.swap_board()
        sold = dict.fromkeys(PRICES, 0)
        for selection, how, times in vends:
            machine.vend(selection, how, times)
            sold[selection] += times if how in ("cash", "cashless") else 0
        machine.pass_time(24)
        reads.append(machine.read(f"{day:02d}", delay=delay * DAY))
        truth.append(sold)
    return reads, truth


def nothing_negative(intervals):
    for interval in intervals:
        sold = [line.sold for line in interval.lines]
        for figure in LINE_FIGURES:
            for each in (*sold, interval.unassigned):
                amount = getattr(each, figure.name)
                assert amount is None or amount >= 0
        for figure in TOTAL_FIGURES:
            amount = getattr(interval.machine, figure.name)
            assert amount is None or amount >= 0


def balanced(intervals):
    for interval in intervals:
        for balance in interval.balances:
            lines = sum(getattr(line.sold, balance.figure) or 0 for line in interval.lines)
            assert balance.lines == lines
            if balance.why_not is None:
                left = getattr(interval.unassigned, balance.figure)
                assert lines + left == balance.machine
            else:
                assert balance.why_not in interval.why_not


@settings(max_examples=150)
@given(st.data(), days)
def test_intervals_add_up_to_the_true_sales_in_any_order_of_arrival(data, plan):
    machine = started(data)
    reads, truth = run(machine, plan)
    intervals = chain(data.draw(st.permutations(reads)))
    assert [interval.to_key for interval in intervals] == [read.key for read in reads[1:]]
    for interval, sold in zip(intervals, truth[1:], strict=True):
        assert {line.selection: line.sold.paid_count for line in interval.lines} == sold
        assert interval.machine.paid_count == sum(sold.values())
        money = sum(sold[selection] * PRICES[selection] for selection in PRICES)
        assert interval.machine.paid_value_minor == money
        assert interval.machine.cash_value_minor + interval.machine.cashless_1_value_minor == money
        assert interval.unassigned.paid_value_minor == 0
        assert interval.why_not == ()
    nothing_negative(intervals)
    balanced(intervals)


@settings(max_examples=100)
@given(st.data(), days, st.booleans())
def test_a_board_swapped_in_the_middle_loses_nothing_once_a_person_has_decided(data, plan, decides):
    machine = started(data)
    swap_on = data.draw(st.integers(1, len(plan) - 1))
    reads, truth = run(machine, plan, swap_on)
    about = CountFromZero(BOARD, reads[swap_on - 1].key, reads[swap_on].key)
    intervals = chain(data.draw(st.permutations(reads)), [about] if decides else [])
    for day, interval in enumerate(intervals, start=1):
        counted = {line.selection: line.sold.paid_count for line in interval.lines}
        if day == swap_on and not decides:
            assert interval.quality is Quality.AWAITS_DECISION
            assert set(counted.values()) == {None}
            assert interval.why_not
        else:
            assert counted == truth[day]
    nothing_negative(intervals)
    balanced(intervals)


@settings(max_examples=100)
@given(st.data(), days)
def test_gaps_in_the_files_lose_nothing_of_the_machines_total(data, plan):
    """Selections left out of some files: what they sold turns up as unassigned, to the unit."""
    machine = started(data)
    reads, truth = run(machine, plan)
    holed = [
        replace(
            read,
            selections=tuple(line for line in read.selections if data.draw(st.booleans())),
        )
        for read in reads
    ]
    intervals = chain(holed)
    for interval, sold in zip(intervals, truth[1:], strict=True):
        known = sum(line.sold.paid_count or 0 for line in interval.lines)
        assert known + interval.unassigned.paid_count == sum(sold.values())
    nothing_negative(intervals)
    balanced(intervals)


@settings(max_examples=60)
@given(st.data())
def test_nothing_negative_and_every_sum_explained_whatever_the_counters_say(data):
    """Counters that jump about as no machine's should."""
    number = st.one_of(st.none(), st.integers(0, 30), st.integers(99_999_980, 99_999_999))
    reads = []
    machine = small()
    for index in range(data.draw(st.integers(2, 5))):
        machine.pass_time(24)
        read = machine.read(str(index), received_at=machine.now)
        lines = tuple(
            replace(line, ever=tuple(data.draw(number) for _ in line.ever))
            for line in read.selections
        )
        totals = tuple(data.draw(number) for _ in read.totals)
        reads.append(replace(read, selections=lines, totals=totals))
    intervals = chain(reads)
    assert len(intervals) == len(reads) - 1
    nothing_negative(intervals)
    balanced(intervals)


@settings(max_examples=60)
@given(st.data(), days)
def test_duplicates_change_nothing(data, plan):
    reads, _ = run(started(data), plan)
    reads = [replace(read, this_read_at=read.machine_clock) for read in reads]
    copied = data.draw(st.sampled_from(reads))
    copy = replace(copied, key="copy", received_at=copied.received_at + 40 * DAY)
    again = data.draw(st.permutations([*reads, copied, copy]))
    assert chain(again) == chain(reads)


@settings(max_examples=100)
@given(st.data(), days.filter(lambda plan: len(plan) > 2), st.booleans())
def test_a_read_between_two_others_replaces_one_interval_by_two(data, plan, swap):
    machine = started(data)
    swap_on = data.draw(st.integers(1, len(plan) - 1)) if swap else None
    reads, _ = run(machine, [(vends, 0) for vends, _ in plan], swap_on)
    at = data.draw(st.integers(1, len(reads) - 2))
    late = replace(reads[at], received_at=reads[-1].received_at + 3 * DAY)
    others = [*reads[:at], *reads[at + 1 :]]
    about = []
    if swap_on is not None:
        first = max(index for index in range(swap_on) if index != at or index == 0)
        last = min(index for index in range(swap_on, len(reads)) if index != at)
        about = [CountFromZero(BOARD, reads[first].key, reads[last].key)]
    old = chain(others, about)
    new = chain([*others, late], about)
    assert new[: at - 1] == old[: at - 1]
    assert new[at + 1 :] == old[at:]
    assert recut(old[at - 1], reads[at - 1], late, reads[at + 1]) == new[at - 1 : at + 1]
    if swap_on is not None:
        assert all(interval.quality is not Quality.AWAITS_DECISION for interval in new)


def test_recutting_with_reads_of_another_interval_is_refused():
    machine = small()
    first, second, third, fourth = [
        (machine.pass_time(), machine.read(key))[1] for key in ("a", "b", "c", "d")
    ]
    interval = chain([first, third])[0]
    with pytest.raises(ValueError, match="between reads a and c, not a and d"):
        recut(interval, first, second, fourth)


def test_one_read_makes_no_interval():
    assert chain([small().read("a")]) == ()
    assert chain([]) == ()


def test_a_late_read_with_a_senseless_clock_is_kept_between_its_neighbours():
    machine = small()
    reads = []
    for key in "abc":
        machine.vend("11", times=5)
        machine.pass_time()
        reads.append(machine.read(key))
    middle = replace(
        reads[1],
        received_at=reads[1].received_at + 30 * DAY,
        machine_clock=reads[1].machine_clock.replace(year=2010),
    )
    first, second = chain([reads[0], reads[2], middle])
    assert (first.to_key, second.from_key) == ("b", "b")
    assert first.start.at <= first.end.at == second.start.at <= second.end.at
    assert first.end.known_by == "bounded"
    assert first.line("11").sold.paid_count == second.line("11").sold.paid_count == 5
