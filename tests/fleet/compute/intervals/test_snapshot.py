"""Snapshots of the invented sample read, and of small files with what real machines do."""

import re
from datetime import UTC, datetime

import pytest

from fleet.compute.audit.reader import read_report
from fleet.compute.intervals.cut import cut
from fleet.compute.intervals.figures import line_counters, total_counters
from fleet.compute.intervals.interval import Quality
from fleet.compute.intervals.snapshot import snapshot_of
from tests.fleet.compute.audit.samples import READ_A, resealed, sealed

MORNING = datetime(2026, 3, 14, 16, 10, tzinfo=UTC)
EVENING = datetime(2026, 3, 14, 20, 0, tzinfo=UTC)


def snapshot(data, key="a", received_at=MORNING):
    return snapshot_of(read_report(data), key, received_at)


def small_file(*lines):
    return sealed("ID1*ZZZ1", "ID4*2*1978*EUR", *lines)


def test_the_sample_read():
    read = snapshot(READ_A)
    assert read.machine_clock == datetime.fromisoformat("2026-03-14T17:05:12")
    assert (read.reads_counter, read.resets_counter) == (61, 57)
    assert (read.board_serial, read.machine_serial) == ("ZZZ90017", "ZZZ0004711")
    assert (read.coin_serial, read.bill_serial) == ("ZZZ00551", "ZZZ00777")
    assert (read.cashless_1_serial, read.cashless_2_serial) == ("ZZZ33120", None)
    assert read.initialised_at == datetime.fromisoformat("2024-01-15T09:30")
    assert (read.currency, read.exponent, read.exponent_stated) == ("EUR", 2, True)
    expected = {
        "paid_count": 4899,
        "paid_value_minor": 550130,
        "test_count": 12,
        "cash_count": 3327,
        "cash_in_minor": 577800,
        "cash_out_minor": 188200,
        "cash_overpay_minor": 240,
        "coins_filled_by_hand_minor": 15000,
        "bills_in_minor": 121000,
        "cashless_1_count": 1572,
        "cashless_1_value_minor": 175770,
        "cashless_1_revalued_minor": 0,
        "cashless_2_count": None,
        "vend_token_count": 0,
    }
    assert {name: read.total(name) for name in expected} == expected


def test_the_selections_of_the_sample_read():
    lines = {line.selection: line for line in snapshot(READ_A).selections}
    assert list(lines) == ["11", "12", "13", "14", "A1", "A2", "A3"]
    assert lines["11"].ever == line_counters(
        paid_count=1156,
        paid_value_minor=138720,
        test_count=12,
        test_value_minor=1440,
        free_count=0,
        free_value_minor=0,
    )
    assert lines["11"].since_reset[:2] == (17, 2040)
    assert [line.device for line in lines["11"].payments] == ["CA", "DA"]
    assert lines["A3"].motor_absent
    orange = lines["13"]
    assert (orange.current_level, orange.asked_while_sold_out) == (0, 7)
    assert orange.sold_out_at == datetime.fromisoformat("2026-03-14T11:25")
    assert (orange.sold_out_event_active, orange.sold_out_event_count) == (True, 6)


def test_a_sale_between_two_files_of_the_sample_machine():
    """One cash vend of 11, edited into the file by hand."""
    later = READ_A
    for old, new in (
        (b"VA1*550130*4899*8590*73*", b"VA1*550250*4900*8710*74*"),
        (b"CA2*374360*3327*5420*46", b"CA2*374480*3328*5540*47"),
        (b"PA2*1156*138720*17*2040", b"PA2*1157*138840*18*2160"),
        (b"PA7*11*CA*0*120*812*97440*11*1320", b"PA7*11*CA*0*120*813*97560*12*1440"),
        (b"ID5*20260314*170512", b"ID5*20260314*205800"),
    ):
        assert later.count(old) == 1
        later = later.replace(old, new)
    interval = cut(snapshot(READ_A), snapshot(resealed(later), "b", EVENING))
    assert interval.line("11").sold.paid_count == interval.machine.paid_count == 1
    assert interval.line("11").cash_value_minor == interval.machine.cash_value_minor == 120
    assert interval.line("12").sold.paid_count == 0
    assert interval.unassigned.paid_count == 0
    assert interval.why_not == ()
    # Level 0 in both reads, and no new press while sold out; but the event stands.
    assert [sign.evidence for sign in interval.line("13").ran_dry] == [
        "event_active",
        "level_zero",
    ]


def test_where_pa2_is_missing_paid_is_the_sum_over_pa7_and_never_more():
    without = snapshot(resealed(re.sub(rb"PA2\*[^\r]*\r\n", b"", READ_A)))
    with_both = snapshot(READ_A)
    for bare, full in zip(without.selections, with_both.selections, strict=True):
        assert bare.paid_from_payments
        assert not full.paid_from_payments
        assert bare.ever[:2] == full.ever[:2]


def test_a_sum_over_pa7_and_a_pa2_are_not_subtracted_from_each_other():
    """They need not have started together; the machine's total still says what was sold."""
    bare = snapshot(resealed(re.sub(rb"PA2\*[^\r]*\r\n", b"", READ_A)))
    interval = cut(bare, snapshot(READ_A, "b", EVENING))
    assert interval.line("11").sold.paid_count is None
    assert interval.quality is Quality.PARTIAL
    assert interval.unassigned.paid_count == 0


def test_halves_sent_the_wrong_way_round_are_put_right():
    data = small_file(
        "VA1*36000*300*1200*10",
        "PA1*11*120",
        "PA2*4*480*200*24000",
        "PA1*12*120",
        "PA2*6*720*100*12000",
    )
    read = snapshot(data)
    assert "PA2" in read.swapped_segments
    assert [line.ever[:2] for line in read.selections] == [(200, 24000), (100, 12000)]
    assert read.totals[:2] == (300, 36000)


def test_a_swapped_half_wraps_at_its_own_width():
    """The since-reset count of PA2 has six digits, the never-reset one eight."""
    first = small_file("VA1*36000*5000*0*0", "PA1*11*120", "PA2*0*0*999998*24000")
    second = small_file("VA1*36600*5005*0*0", "PA1*11*120", "PA2*0*0*3*24600")
    interval = cut(snapshot(first), snapshot(second, "b", EVENING))
    assert interval.line("11").sold.paid_count == 5
    assert interval.unassigned.paid_count == 0


def test_blank_counters_stay_blank():
    read = snapshot(small_file("VA1**12", "PA1*11*120", "PA2*12"))
    assert read.totals[:2] == (12, None)
    assert read.selections[0].ever == line_counters(paid_count=12)
    assert read.totals[2:] == total_counters()[2:]


def test_a_pa7_without_its_selection_becomes_a_line_of_its_own():
    read = snapshot(small_file("VA1*480*4", "PA7*90*CA*0*120*4*480*0*0"))
    assert [(line.selection, line.ever[0]) for line in read.selections] == [("90", 4)]


@pytest.mark.parametrize("data", [b"", b"\x00" * 40, READ_A[:700]])
def test_damaged_files_still_make_a_snapshot(data):
    read = snapshot(data)
    assert cut(read, snapshot(READ_A, "b", EVENING)).to_key == "b"
