"""Envelopes as real machines and copies leave them."""

import pytest

from fleet.compute.audit import limits
from fleet.compute.audit.reader import read_report
from tests.fleet.compute.audit.samples import LF_ONLY, READ_A, sealed

LINES = ("ID4*2*1978*EUR", "VA1*300*3*100*1", "PA1*1*100", "PA2*3*300*1*100")


@pytest.mark.parametrize("end", [b"\n", b"\r", b"\r\n", b"\r\n\r\n"])
def test_any_line_end_reads_the_same(end):
    report = read_report(LF_ONLY.replace(b"\n", end))
    whole = read_report(READ_A)
    assert report.totals == whole.totals
    assert report.selections[0].paid == whole.selections[0].paid
    assert report.integrity.verdict in ("ok", "ok_after_crlf_restore")
    assert report.block_sha256 == whole.block_sha256


def test_mixed_line_ends_are_put_right_before_the_check():
    mixed = READ_A.replace(b"\r\n", b"\n", 40)
    report = read_report(mixed)
    assert report.integrity.line_ends == "mixed"
    assert report.integrity.verdict == "ok_after_crlf_restore"


def test_swapped_and_line_feeds_at_once():
    report = read_report(LF_ONLY.replace(b"G85*CDA7", b"G85*A7CD"))
    assert report.integrity.verdict == "ok_byte_swapped"
    assert report.integrity.line_ends_restored
    assert report.usable_as == "accepted"


def test_no_final_line_end():
    report = read_report(READ_A.rstrip())
    assert report.usable_as == "accepted"
    assert report.warnings == ()


@pytest.mark.parametrize("before", [b"MC5*1*HELLO\r\n", b"\x02", b"\x00\x00\r\n", b"garbage\n"])
def test_what_stands_before_is_passed_over(before):
    report = read_report(before + READ_A)
    assert report.usable_as == "accepted"
    assert report.warning_codes() == {"text_before"}
    assert report.block_sha256 == read_report(READ_A).block_sha256


def test_line_numbers_count_from_the_top_of_the_file():
    report = read_report(b"MC5*1\r\nMC5*2\r\n" + READ_A)
    assert report.segments[0].line == 3
    assert report.selections[0].line == read_report(READ_A).selections[0].line + 2


def test_a_second_block_is_noted_and_the_first_read():
    other = sealed("VA1*1*1*1*1")
    report = read_report(READ_A + other)
    assert report.warning_codes() == {"more_than_one_block"}
    assert report.totals.paid.count_ever == 4899


def test_the_end_of_a_second_block_does_not_close_a_cut_first_one():
    report = read_report(READ_A[: READ_A.index(b"G85*")] + READ_A)
    assert "end_missing" in report.warning_codes()
    assert report.usable_as == "unverified"
    assert len(report.selections) == 7


def test_st_to_se_without_sender():
    start, end = READ_A.index(b"ST*"), READ_A.index(b"DXE*")
    report = read_report(READ_A[start:end])
    assert report.usable_as == "accepted"
    assert report.warnings == ()
    assert report.block_sha256 == read_report(READ_A).block_sha256


def test_an_address_does_not_begin_a_block():
    lines = ("ID1*S1*M*1*12 MAIN ST**ASSET-1", *LINES)
    assert read_report("\r\n".join(lines).encode()).identity.location == "12 MAIN ST"
    assert read_report(sealed(*lines)).usable_as == "accepted"


def test_warnings_are_limited_and_still_name_what_holds_the_file():
    lines = [*LINES, *["QQ1*1"] * 300, "MA5*LAST*" + "x" * 257, *["MA5*1*" + "x" * 257] * 300]
    report = read_report(sealed(*lines))
    assert len(report.warnings) < limits.MOST_WARNINGS + 5
    assert "more_warnings" in report.warning_codes()
    assert report.usable_why == ("element_too_long",)


def test_no_envelope_at_all_is_unverified():
    report = read_report("\r\n".join(LINES).encode())
    assert (report.usable_as, report.usable_why) == ("unverified", ("no_envelope",))
    assert report.totals.paid.count_ever == 3


def test_no_st_is_unverified():
    report = read_report(READ_A.replace(b"ST*001*0001\r\n", b""))
    assert report.usable_as == "unverified"
    assert "no_start_segment" in report.warning_codes()


def test_closing_segments_missing_but_check_right_is_accepted():
    report = read_report(READ_A[: READ_A.index(b"SE*83")])
    assert report.integrity.verdict == "ok"
    assert report.usable_as == "accepted"
    assert report.warning_codes() == {"end_missing"}


def test_stopping_mid_product_is_held():
    report = read_report(READ_A[: READ_A.index(b"PA3*0*0*0*0")])
    assert report.integrity.truncated
    assert report.usable_as == "held"
    assert "truncated" in report.usable_why


def test_stopping_inside_a_line_does_not_believe_its_last_number():
    cut = READ_A[: READ_A.index(b"PA2*1415*141500*7") + len(b"PA2*1415*141")]
    report = read_report(cut)
    assert report.usable_as == "held"
    assert report.selections[-1].id == "14"
    assert report.selections[-1].paid.value_ever_minor is None
    assert report.segments[-1].elements == ("1415", "141")


def test_a_list_without_envelope_stopping_mid_product_is_held():
    lines = ["PA1*1*100", "PA2*1*100", "PA7*1*CA*0*100*1*100", "PA1*2*100", "PA2*1*100"]
    assert read_report("\r\n".join(lines).encode() + b"\r\n").usable_as == "held"
    whole = [*lines, "PA7*2*CA*0*100*1*100"]
    assert read_report("\r\n".join(whole).encode() + b"\r\n").usable_as == "unverified"


def test_every_cut_of_a_file_is_unverified_or_held_until_the_check_value():
    for end in range(READ_A.index(b"G85*")):
        assert read_report(READ_A[:end]).usable_as != "accepted", end


def test_a_damaged_check_line_does_not_make_the_good_read_a_repeat():
    damaged = read_report(READ_A.replace(b"G85*CDA7", b"G85*CDA0"))
    assert damaged.usable_as == "held"
    assert damaged.block_sha256 != read_report(READ_A).block_sha256


def test_extra_elements_are_tolerated():
    report = read_report(sealed(*LINES[:1], "VA1*300*3*100*1*0*0*0*0*0*0*0*0*9*9", *LINES[2:]))
    assert report.usable_as == "accepted"
    assert report.totals.paid.count_ever == 3


def test_loop_brackets_mean_nothing_and_count_as_segments():
    report = read_report(sealed(*LINES[:2], "LS*0100", *LINES[2:], "LE*0100"))
    assert report.warnings == ()


def test_segments_after_the_check_value_are_not_interpreted():
    report = read_report(READ_A.replace(b"SE*83", b"CA2*1*1*1*1\r\nSE*84"))
    assert report.totals.cash_sales.count_ever == 3327
    assert report.warning_codes() == {"segments_after_check"}


def test_differing_control_numbers_are_noted():
    report = read_report(READ_A.replace(b"SE*83*0001", b"SE*83*0002"))
    assert report.warning_codes() == {"control_number_wrong"}


def test_unknown_segments_are_kept_unread():
    report = read_report(sealed(*LINES, "QQ1*7*8", "PC1*1*150"))
    assert report.warning_codes() == {"unknown_segment"}
    assert ("7", "8") in [segment.elements for segment in report.segments]


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"", "empty_file"),
        (b"hello, this is a letter\r\n", "no_audit_data"),
        (b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 8, "no_audit_data"),
        (b"A" * (limits.MOST_BYTES + 1), "too_large"),
        (b"\r\n" * (limits.MOST_LINES + 1), "too_many_lines"),
        (b"\r" * (limits.MOST_LINES + 1), "too_many_lines"),
        (sealed(*LINES, "MA5*LAST" + "*1" * 64), "too_many_elements"),
        (sealed(*LINES, "MA5*LAST*" + "x" * 257), "element_too_long"),
    ],
)
def test_what_is_no_read_or_too_much_is_held(data, code):
    report = read_report(data)
    assert report.usable_as == "held"
    assert code in report.usable_why


def test_the_limits_themselves_are_allowed():
    lines = [*LINES, "MA5*LAST" + "*1" * 63, "MA5*LAST*" + "x" * 256]
    report = read_report(sealed(*lines))
    assert report.usable_as == "accepted"
    assert len(report.segments[-5].elements) == 64
