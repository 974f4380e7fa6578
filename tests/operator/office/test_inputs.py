"""What a person types: lengths in either unit, hours, labels of positions."""

from datetime import time
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.machines.models import OpeningWindow
from office.forms.base import in_units, length_mm
from office.forms.hours import said, windows_of
from office.forms.kinds import in_order, labels_of, names_said

INCH = Decimal("25.4")  # exactly, by the international yard and pound agreement of 1959


@pytest.mark.parametrize(
    ("text", "units", "mm"),
    [
        ("1", "in", "25.400"),
        ("2 5/8", "in", "66.675"),
        ("5/8", "in", "15.875"),
        ("2.6", "in", "66.040"),
        ("2,6", "in", "66.040"),
        ('1/4"', "mm", "6.350"),
        ("66 mm", "in", "66.000"),
        ("66.2", "mm", "66.200"),
        ("6.62cm", "in", "66.200"),
        (" 8.345 IN ", "mm", "211.963"),
    ],
)
def test_a_length_is_read_as_it_is_meant(text: str, units: str, mm: str) -> None:
    assert length_mm(text, units) == Decimal(mm)


@pytest.mark.parametrize("text", ["", "a", "1 2", "1/0", "2.5 1/2", "-3", "1e3", "5/8/2", "1 ft"])
def test_what_is_no_length_is_refused(text: str) -> None:
    with pytest.raises(ValueError):  # noqa: PT011 - the form says it in words
        length_mm(text, "in")


@given(st.integers(1, 3_000_000), st.sampled_from(["in", "mm"]))
def test_a_length_shown_and_sent_back_is_the_same_to_the_micrometre(um: int, units: str) -> None:
    stored = Decimal(um) / 1000
    assert length_mm(in_units(stored, units), units) == stored


def test_hours_are_read_and_said_again() -> None:
    windows = windows_of("Mon-Fri 7:30-16:00\n\nSaturday 9 – 12")
    assert len(windows) == 6
    assert windows[0] == {"weekday": 0, "opens": time(7, 30), "closes": time(16)}
    assert windows[-1] == {"weekday": 5, "opens": time(9), "closes": time(12)}
    stored = [OpeningWindow(**one) for one in windows]
    assert said(stored) == "Mon-Fri 07:30-16:00\nSat 09:00-12:00"
    assert windows_of(said(stored)) == windows


@pytest.mark.parametrize("line", ["whenever", "Mon 25:00-26:00", "Fri-Mon 8-9", "Xyz 8-9"])
def test_hours_that_cannot_be_read_are_named(line: str) -> None:
    with pytest.raises(ValueError, match=line.split(maxsplit=1)[0]):
        windows_of(line)


@pytest.mark.parametrize(
    ("text", "labels"),
    [
        ("1-4", ["1", "2", "3", "4"]),
        ("A1-A3, B1", ["A1", "A2", "A3", "B1"]),
        ("1F 2F;3F", ["1F", "2F", "3F"]),
        ("3-1", ["3-1"]),
        ("", []),
    ],
)
def test_labels_are_read_by_spans(text: str, labels: list[str]) -> None:
    assert labels_of(text) == labels
    assert labels_of(names_said(labels)) == labels


def test_a_span_without_end_stays_small() -> None:
    assert len(labels_of("1-999999999")) < 200


def test_positions_keep_their_order_and_new_ones_follow_by_number() -> None:
    assert in_order(["10", "9", "1R", "1F", "2"], ["1F", "1R"]) == ["1F", "1R", "2", "9", "10"]
