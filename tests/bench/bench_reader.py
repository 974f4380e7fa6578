"""How fast audit files are read, against the least that any reader must do with the same bytes.

The baseline splits the same file into lines and elements and takes its check value with a C
library, and nothing else. Processor time, best of many, so that a busy machine changes little.
Run with `pytest tests/bench/bench_reader.py -s`.
"""

from time import process_time
from timeit import repeat

import fastcrc
import pytest

from fleet.compute.audit.integrity import crc16_arc
from fleet.compute.audit.reader import read_report
from tests.fleet.compute.audit.samples import many_selections

pytestmark = pytest.mark.bench

FILE = many_selections(6)
# Measured at 33 to 36 times the baseline (1.9 to 2.1 ms, on a machine with other work): some 3,000
# typed values against 300 bare splits.
MOST_TIMES_BASELINE = 45
MOST_TIMES_PER_DOUBLING = 2.5


def best_ms(work) -> float:
    return min(repeat(work, number=20, repeat=30, timer=process_time)) / 20 * 1000


def baseline():
    lines = [line.split(b"*") for line in FILE.split(b"\r\n")]
    return lines, fastcrc.crc16.arc(FILE)


def test_reading_a_file_of_42_selections():
    report = read_report(FILE)
    assert report.integrity.verdict == "ok"
    assert len(report.selections) == 42
    ours, least = best_ms(lambda: read_report(FILE)), best_ms(baseline)
    check = best_ms(lambda: crc16_arc(FILE))
    print(
        f"\n{len(FILE)} bytes, {len(report.segments)} lines: read {ours:.2f} ms "
        f"(check value {check:.2f} ms of it), baseline {least:.3f} ms, {ours / least:.0f} times"
    )
    assert ours < MOST_TIMES_BASELINE * least


def test_time_grows_with_the_size_and_no_faster():
    small, large = many_selections(6), many_selections(12)
    assert best_ms(lambda: read_report(large)) < MOST_TIMES_PER_DOUBLING * best_ms(
        lambda: read_report(small)
    )
