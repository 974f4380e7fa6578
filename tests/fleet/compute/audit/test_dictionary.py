"""The dictionary of segments and elements."""

import pytest

from fleet.compute.audit.dictionary import ELEMENTS, SEGMENTS, counter_code, modulus


@pytest.mark.parametrize(
    ("code", "digits"),
    [
        ("VA101", 8), ("VA104", 6), ("VA204", 4), ("CA201", 8), ("CA202", 6), ("PA201", 8),
        ("PA203", 6), ("PA503", 4), ("EA203", 6), ("EA901", 6), ("PP105", 6), ("DB204", 6),
        ("LA105", 8),
    ],
)  # fmt: skip
def test_widths(code, digits):
    """Source: the widths of the audit standard's segment tables."""
    assert modulus(code) == 10**digits


@pytest.mark.parametrize("segment", ["VA1", "CA2", "DA2", "DB2", "PA2", "PA7", "PA8", "DA10"])
def test_segments_that_send_never_reset_figures_first(segment):
    periods = [element.period for element in SEGMENTS[segment] if element.is_counter][:4]
    assert periods == ["I", "I", "R", "R"]


@pytest.mark.parametrize("segment", ["CA7", "DA5"])
def test_segments_that_mix_or_send_reset_figures_first(segment):
    assert SEGMENTS[segment][0].period == "R"


def test_codes_by_what_they_count():
    assert counter_code("PA2", "paid", "count") == "PA201"
    assert counter_code("VA1", "paid", "count") == "VA102"
    assert counter_code("VA1", "surcharges", "value", "R") == "VA112"
    assert counter_code("DB10", "mixed", "value", "R") == "DB1004"


@pytest.mark.parametrize("code", ["PA101", "XX101", "ID106"])
def test_what_is_no_counter_has_no_modulus(code):
    with pytest.raises(LookupError, match=code):
        modulus(code)


def test_an_unknown_counter_is_named():
    with pytest.raises(LookupError, match="PA2 has no free count"):
        counter_code("PA2", "free", "count")


def test_codes_and_names_are_unique():
    for segment, elements in SEGMENTS.items():
        assert len({element.name for element in elements}) == len(elements), segment
    assert len(ELEMENTS) == sum(len(elements) for elements in SEGMENTS.values())
    assert ELEMENTS["CA1103"].segment == "CA11"
    assert ELEMENTS["PA202"].is_money
    assert not ELEMENTS["PA201"].is_money
