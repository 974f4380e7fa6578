"""Sale intervals cut from the simulated files are what was truly sold, in any order of arrival."""

from collections import Counter
from random import Random

import pytest

from demo.business.machines import asset_tag
from demo.simulator.cases import CASES
from fleet.compute.audit.reader import read_report
from fleet.compute.intervals.chain import chain
from fleet.compute.intervals.decisions import CountFromZero
from fleet.compute.intervals.interval import Quality
from fleet.compute.intervals.snapshot import snapshot_of

#: The machines with a trouble of their own, and two without.
TAGS = sorted({*CASES, asset_tag("S01", "A"), asset_tag("S11", "S")})
KINDS = ("paid", "test", "free")


def intervals_of(weeks, tag, decisions=()):
    """The intervals of a machine's files, shuffled, and when each file was truly written."""
    files = list(weeks.written[tag])
    Random(tag).shuffle(files)
    reports = [(read_report(file.data), file) for file in files]
    reads = [
        snapshot_of(report, file.name, file.delivered_at)
        for report, file in reports
        if report.usable_as != "held"
    ]
    zone = files[0].written_at.tzinfo
    return chain(reads, decisions, zone=zone), {file.name: file.written_at for file in files}


def sold(interval):
    counts = Counter()
    for line in interval.lines:
        for kind in KINDS:
            counts[line.selection, kind] += getattr(line.sold, f"{kind}_count") or 0
    return +counts


def happened(weeks, tag, starts, ends):
    vends = weeks.simulated.truth[tag].between(starts, ends)
    return Counter((vend.selection, vend.how) for vend in vends), sum(
        vend.price_minor for vend in vends if vend.how == "paid"
    )


@pytest.mark.parametrize("tag", TAGS)
def test_what_was_sold_is_what_is_cut(weeks, tag):
    intervals, written_at = intervals_of(weeks, tag)
    assert len(intervals) > 10
    discounted = tag in CASES and CASES[tag].cashless_discount_minor
    waiting = 0
    for interval in intervals:
        starts, ends = written_at[interval.from_key], written_at[interval.to_key]
        assert starts < ends
        counts, money = happened(weeks, tag, starts, ends)
        if interval.machine.paid_count is None:
            waiting += 1
            assert interval.quality is Quality.AWAITS_DECISION
            continue
        assert sold(interval) == counts
        if not discounted:  # what happened is told at the full price
            assert interval.machine.paid_value_minor == money
        assert interval.unassigned.paid_count == 0
    swapped = tag in CASES and CASES[tag].board_swapped is not None
    assert waiting == (1 if swapped else 0)


def test_a_swapped_board_counted_from_zero_lacks_only_what_the_old_one_took_with_it(weeks):
    """What was sold between the last read of the old board and the swap died with it."""
    tag = next(tag for tag, case in CASES.items() if case.board_swapped)
    intervals, written_at = intervals_of(weeks, tag)
    swap = next(each for each in intervals if each.quality is Quality.AWAITS_DECISION)
    device = next(state.device for state in swap.devices if state.reason is not None)
    decided, _ = intervals_of(weeks, tag, [CountFromZero(device, swap.from_key, swap.to_key)])
    counted = sold(next(each for each in decided if each.to_key == swap.to_key))
    counts, _ = happened(weeks, tag, written_at[swap.from_key], written_at[swap.to_key])
    assert counted
    assert not counted - counts
    assert all(each.quality is not Quality.AWAITS_DECISION for each in decided)
