"""How long cutting takes, beside the least that any way of doing it must: the bare subtraction.

Run with `-m bench`; prints both figures. For a pair of reads with 40 selections the aim is half a
millisecond; what is asserted is the ratio, which does not depend on the computer.
"""

from itertools import pairwise
from time import perf_counter

import pytest

from fleet.compute.intervals.chain import chain
from fleet.compute.intervals.cut import cut
from tests.fleet.compute.intervals.machine import Machine

pytestmark = pytest.mark.bench
MOST_TIMES_BARE = 12


def forty_selections() -> Machine:
    return Machine(
        prices={f"{row}{column}": 100 + column for row in "ABCDE" for column in range(8)}
    )


def best_of(times, work):
    """The shortest of many runs: the rest is what else the computer did."""
    best = float("inf")
    for _ in range(times):
        started = perf_counter()
        work()
        best = min(best, perf_counter() - started)
    return best


def a_day(machine, key):
    for index, selection in enumerate(machine.prices):
        machine.vend(selection, "cash" if index % 3 else "cashless", index % 4)
    machine.pass_time()
    return machine.read(key)


def subtract(before, after):
    """Every counter of every selection and payment line, and nothing else."""
    for old, new in zip(before.selections, after.selections, strict=True):
        [b - a for a, b in zip(old.ever, new.ever, strict=True) if a is not None and b is not None]
        for was, now in zip(old.payments, new.payments, strict=True):
            (now.count_ever - was.count_ever, now.value_ever_minor - was.value_ever_minor)


def test_cutting_one_pair_of_reads():
    machine = forty_selections()
    before, after = a_day(machine, "a"), a_day(machine, "b")
    assert cut(before, after).why_not == ()
    bare = best_of(300, lambda: subtract(before, after))
    whole = best_of(300, lambda: cut(before, after))
    print(f"\ncut {whole * 1e6:.0f} us, bare subtraction {bare * 1e6:.0f} us")
    assert whole < MOST_TIMES_BARE * bare


def test_a_year_of_daily_reads():
    machine = forty_selections()
    reads = [a_day(machine, f"{day:03d}") for day in range(365)]
    bare = best_of(2, lambda: [subtract(*pair) for pair in pairwise(reads)])
    whole = best_of(2, lambda: chain(reads))
    print(f"\nchain of 365 reads {whole * 1e3:.0f} ms, bare subtraction {bare * 1e3:.0f} ms")
    assert whole < 2 * MOST_TIMES_BARE * bare  # orders the reads as well
