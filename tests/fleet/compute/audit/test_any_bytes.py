"""Whatever the bytes, there is a report: no exception, no nonsense in it, and no false trust."""

from time import process_time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import TypeAdapter

from fleet.compute.audit import limits
from fleet.compute.audit.dictionary import SEGMENTS
from fleet.compute.audit.notices import NOTICES
from fleet.compute.audit.reader import read_report
from fleet.compute.audit.redact import display_text, redact_bytes
from fleet.compute.audit.report import Report
from tests.fleet.compute.audit.samples import LF_ONLY, READ_A, sealed

AS_JSON = TypeAdapter(Report)


def assert_sound(data: bytes) -> Report:
    report = read_report(data)
    assert report == read_report(data)
    assert report.usable_as in ("accepted", "unverified", "held")
    assert bool(report.usable_why) == (report.usable_as != "accepted")
    assert len(report.warnings) <= limits.MOST_WARNINGS + 60
    for warning in report.warnings:
        assert NOTICES[warning.code][0] == warning.effect
    text = AS_JSON.dump_json(report)
    assert b"\\u0000" not in text
    assert AS_JSON.validate_json(text) == report
    for segment in report.segments:
        for element in segment.elements:
            assert len(element) <= limits.MOST_CHARACTERS
            assert element.isprintable() or not element.isascii()
    for selection in report.selections:
        for figure in (selection.paid.count_ever, selection.price_minor, selection.capacity):
            assert figure is None or 0 <= figure < 10**limits.MOST_DIGITS
    display_text(data)
    redact_bytes(data)
    return report


@given(st.binary(max_size=2000))
def test_any_bytes(data):
    assert_sound(data)


@given(st.text(max_size=500), st.sampled_from(["utf-8", "utf-16", "cp1252"]))
def test_any_text(text, encoding):
    assert_sound(text.encode(encoding, errors="replace"))


cut_or_paste = st.tuples(
    st.integers(0, len(READ_A)),
    st.integers(0, 60),
    st.one_of(
        st.binary(max_size=8),
        st.sampled_from([b"*", b"\r\n", b"\r", b"\n", b"ST*", b"\r\nG85*", b"DXS*", b"\r\nDXE*1"]),
        st.sampled_from([b"\r\nPA1*", b"\r\nPA2*9*9", b"-", b"\x00", b"\xff", b"4294967295"]),
    ),
)


@settings(max_examples=300)
@given(st.sampled_from([READ_A, LF_ONLY]), st.lists(cut_or_paste, min_size=1, max_size=6))
def test_samples_cut_and_pasted(data, changes):
    for at, removed, added in changes:
        data = data[:at] + added + data[at + removed :]
    assert_sound(data)


elements = st.one_of(
    st.just(""),
    st.integers(0, 10**9).map(str),
    st.sampled_from(
        ["CA", "DA", "0", "11", "A1", "20260314", "0930", "4294967295", "-1", "x" * 300]
    ),
    st.text(st.characters(blacklist_categories=["Cs"], blacklist_characters="*\r\n"), max_size=12),
)
lines = st.builds(
    lambda name, rest: "*".join([name, *rest]),
    st.sampled_from(sorted(SEGMENTS)),
    st.lists(elements, max_size=14),
)


@settings(max_examples=300)
@given(st.lists(lines, max_size=30))
def test_any_segments(found):
    assert_sound(sealed(*found, encoding="utf-8"))


start, end = READ_A.index(b"ST*"), READ_A.index(b"G85*")


@settings(max_examples=300)
@given(st.integers(start, end - 1), st.integers(0, 255))
def test_no_single_changed_byte_is_accepted(at, byte):
    """A 16-bit cyclic check finds every error of up to 16 bits in a row (by its degree)."""
    data = READ_A[:at] + bytes([byte]) + READ_A[at + 1 :]
    report = assert_sound(data)
    if data != READ_A and report.usable_as == "accepted":
        # What was changed is a line end, and the very same lines remain.
        assert report.integrity.line_ends_restored
        assert data.splitlines() == READ_A.splitlines()


@pytest.mark.parametrize(
    "data",
    [
        b"ST*" * 340_000,
        b"DXS*\r" * 19_000,
        b"*" * 1_000_000,
        b"\n" * 20_000,
        b"SD1" * 300_000,
        b"PA1*1*1\n" * 19_999,
        b"PA7*1\n" * 10_000 + b"PA1*1\n" * 9_999,
        b"DXS*1\r\nST*1\r\n" + b"\r\nG85" * 19_000,
        b"CA11*5*1\n" * 19_999,
        b"\xff" * 1_000_000,
        b"VA1*1\nQQ\n" * 9_999,
        b"EA2*" + b"E" * 1_000_000,
    ],
    ids=lambda data: data[:9].decode("latin-1"),
)
def test_hostile_files_take_no_more_time_than_large_ones(data):
    assert len(data) <= limits.MOST_BYTES
    before = process_time()
    report = read_report(data)
    display_text(data)
    # Half a second is usual; a step that is not linear in the size would take many minutes.
    assert process_time() - before < 20
    assert report.usable_as != "accepted"
