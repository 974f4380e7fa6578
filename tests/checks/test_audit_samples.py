"""The invented sample read and its variants, against figures worked out apart from this reader.

Source: invented files made together with their expected values by another implementation; the
figures below were written down before this reader existed.
"""

from hashlib import sha256

import pytest

from fleet.compute.audit.reader import read_report
from fleet.compute.audit.report import TubeLine
from fleet.compute.audit.totals import Amounts, Counters
from tests.fleet.compute.audit import samples


@pytest.fixture(scope="module")
def report():
    return read_report(samples.READ_A)


def test_the_file_itself():
    assert len(samples.READ_A) == 2029
    assert sha256(samples.READ_A).hexdigest()[:8] == "3f40f1ee"
    start, end = samples.READ_A.index(b"ST*"), samples.READ_A.index(b"G85")
    assert end - start == 1972


def test_it_is_accepted_without_any_warning(report):
    assert (report.usable_as, report.usable_why, report.warnings) == ("accepted", (), ())
    assert report.integrity.verdict == "ok"
    assert report.integrity.segments_stated == report.integrity.segments_counted == 83


def test_the_machine(report):
    assert report.identity.asset == "ASSET-0042"
    assert report.identity.serial == "ZZZ0004711"
    assert report.currency.alphabetic == "EUR"
    assert report.currency.decimals == 2
    assert report.device("control_board").serial == "ZZZ90017"
    assert report.device("coin_mechanism").serial == "ZZZ00551"
    assert report.device("hopper_1") is None
    assert report.clock.time.at.isoformat() == "2026-03-14T17:05:12"
    assert report.clock.daylight_saving == "EU"


def test_the_selections(report):
    assert [selection.id for selection in report.selections] == [
        "11", "12", "13", "14", "A1", "A2", "A3",
    ]  # fmt: skip
    absent = report.selections[-1]
    assert absent.motor_absent
    assert absent.name is None
    assert not any(selection.motor_absent for selection in report.selections[:-1])
    assert report.selections[0].name == "COLA 330ML"
    assert report.selections[0].paid == Counters(1156, 138720, 17, 2040)


def test_paid_vends(report):
    totals = report.totals
    assert totals.paid == Counters(4899, 550130, 73, 8590)
    assert totals.cash_sales == Counters(3327, 374360, 46, 5420)
    assert totals.cashless_1.sales == Counters(1572, 175770, 27, 3170)
    assert totals.test == Counters(12, 1440, 0, 0)


def test_cash(report):
    cash_in = report.totals.cash_in
    assert cash_in.total.since_reset_minor == 7840
    assert cash_in.to_box.since_reset_minor == 4540
    assert cash_in.to_tubes.since_reset_minor == 1800
    assert cash_in.bills == Amounts(121000, 1500)
    assert report.totals.cash_out.dispensed.since_reset_minor == 2410
    assert report.totals.cash_overpay.since_reset_minor == 10


def test_the_tubes_hold_26_25(report):
    assert report.tubes.total_value_minor == 2625
    assert sum(tube.value_minor * tube.count for tube in report.tubes.lines) == 2625
    assert [tube.value_minor for tube in report.tubes.lines if tube.full] == [10]
    # In CA17 the fill and empty counts were sent blank, and blank is not 0.
    assert report.tubes.lines[0] == TubeLine(0, 5, 41, False, None, None)


def test_events(report):
    """EAU_000C was sent with 0 in EA205: it happened this period and is over."""
    by_id = {total.event_id: total for total in report.event_totals}
    assert {name for name, total in by_id.items() if total.active} == {"EJB_12", "ELB_13"}
    assert {name for name, total in by_id.items() if total.over} == {"EGS", "EAU_000C"}
    assert (by_id["EGS"].count_since_reset, by_id["EGS"].count_ever) == (2, 118)
    assert by_id["EJB_12"].total_minutes == 1295
    assert [event.event_id for event in report.events] == ["EGS", "EJB_12", "ELB_13"]
    assert report.events[1].time.at.isoformat() == "2026-03-13T19:30:11"


def test_reads(report):
    info = report.read_info
    assert (info.reads_with_reset_ever, info.reads_ever, info.resets_ever) == (57, 61, 57)
    assert info.this_read.at.isoformat() == "2026-03-14T17:05:12"
    assert info.previous_read.at.isoformat() == "2026-02-28T16:48:00"
    assert info.initialised.at.isoformat() == "2024-01-15T09:30:00"
    assert (info.interval_reset_mode, info.event_reset_mode) == ("SAVE", "SAVE")


def test_line_feeds_only_are_put_back_before_the_check():
    report = read_report(samples.LF_ONLY)
    assert report.integrity.verdict == "ok_after_crlf_restore"
    assert report.integrity.line_ends == "lf"
    assert report.usable_as == "accepted"
    assert report.block_sha256 == read_report(samples.READ_A).block_sha256
    assert report.sha256 != read_report(samples.READ_A).sha256


def test_swapped_check_bytes_are_known():
    report = read_report(samples.CRC_SWAPPED)
    assert report.integrity.verdict == "ok_byte_swapped"
    assert report.usable_as == "accepted"
    assert report.warning_codes() == {"check_value_byte_swapped"}


def test_one_digit_changed_is_held_and_the_sums_tell():
    report = read_report(samples.CORRUPT)
    assert report.integrity.verdict == "mismatch"
    assert (report.usable_as, report.usable_why) == ("held", ("check_value_wrong",))
    sums = [w for w in report.warnings if w.code == "sales_not_sum_of_selections"]
    assert [(w.where, "stated 4899, found 4900" in w.text) for w in sums] == [("VA102", True)]


def test_a_wrong_segment_count_is_only_a_warning():
    report = read_report(samples.BAD_SE)
    assert report.integrity.verdict == "ok"
    assert report.usable_as == "accepted"
    assert report.warning_codes() == {"segment_count_wrong"}
    assert (report.integrity.segments_stated, report.integrity.segments_counted) == (82, 83)


def test_cut_before_the_reads_is_unverified():
    report = read_report(samples.TRUNCATED)
    assert report.integrity.verdict == "missing"
    assert (report.usable_as, report.usable_why) == ("unverified", ("check_value_missing",))
    assert report.warning_codes() == {"check_value_missing", "end_missing"}
    assert not report.integrity.truncated
    assert len(report.selections) == 7


def test_junk_after_the_end_is_noted():
    report = read_report(samples.TRAILING_JUNK)
    assert report.usable_as == "accepted"
    assert report.warning_codes() == {"text_after"}
    assert report.integrity.bytes_after == 98
    assert report.block_sha256 == read_report(samples.READ_A).block_sha256
