"""GTIN check digits against published examples and a reference library."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from stdnum import ean

from fleet.compute.gtin import BadGtin, as_gtin14, check_digit

# Worked examples: GS1's check-digit page (629104150021), GS1 India (890400021003), GS1 Sweden
# (730001100001); for 501234567890 GS1 UK publishes the number, the digit is worked by the rule.
PUBLISHED = [
    ("629104150021", 3),
    ("890400021003", 7),
    ("730001100001", 7),
    ("501234567890", 0),
]


@pytest.mark.parametrize(("body", "digit"), PUBLISHED)
def test_published_examples(body: str, digit: int) -> None:
    assert check_digit(body) == digit
    assert as_gtin14(f"{body}{digit}") == f"0{body}{digit}"


# Widely printed numbers, verified by arithmetic: UPC-A, EAN-13, EAN-8, GTIN-14.
@pytest.mark.parametrize(
    "number",
    ["036000291452", "012345678905", "4006381333931", "73513537", "40170725", "10614141000415"],
)
def test_every_length(number: str) -> None:
    assert as_gtin14(number) == number.zfill(14)


@given(
    st.sampled_from([7, 11, 12, 13]).flatmap(
        lambda n: st.text("0123456789", min_size=n, max_size=n)
    )
)
def test_agrees_with_python_stdnum(body: str) -> None:
    """python-stdnum's `ean` takes the lengths 8, 12, 13 and 14."""
    digit = check_digit(body)
    assert str(digit) == ean.calc_check_digit(body)
    assert ean.is_valid(f"{body}{digit}")
    assert not ean.is_valid(f"{body}{(digit + 1) % 10}")


@given(st.text("0123456789", min_size=12, max_size=12), st.integers(0, 12), st.integers(1, 9))
def test_one_wrong_digit_is_always_caught(body: str, place: int, off: int) -> None:
    """Weights 1 and 3 have no common factor with ten, so no single slip goes unseen."""
    number = body + str(check_digit(body))
    wrong = number[:place] + str((int(number[place]) + off) % 10) + number[place + 1 :]
    with pytest.raises(BadGtin):
        as_gtin14(wrong)


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("629104150021A", "something other than digits"),
        ("٦٢٩١٠٤١٥٠٠٢١٣", "something other than digits"),
        ("123", "has 3 digits; a GTIN has 8, 12, 13 or 14"),
        ("6291041500214", "its check digit must be 3"),
        ("", "something other than digits"),
    ],
)
def test_says_what_is_wrong(typed: str, words: str) -> None:
    with pytest.raises(BadGtin, match=words):
        as_gtin14(typed)


def test_spaces_and_hyphens_are_passed_over() -> None:
    assert as_gtin14("0 36000-29145 2") == "00036000291452"
