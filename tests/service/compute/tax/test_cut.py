"""Parts of an interval add up to it over any cut."""

from datetime import UTC, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from service.compute.tax.cut import cut, until

START = datetime(2026, 3, 30, 9, tzinfo=UTC)
moments = st.integers(-100_000, 400_000).map(lambda s: START + timedelta(seconds=s))


@given(st.integers(0, 10**7), st.integers(0, 300_000), st.lists(moments, max_size=8).map(sorted))
def test_parts_add_up(whole: int, seconds: int, at: list[datetime]) -> None:
    ends = START + timedelta(seconds=seconds)
    parts = cut(whole, START, ends, at)
    assert sum(parts) == whole
    assert min(parts) >= 0
    assert len(parts) == len(at) + 1


@given(st.integers(0, 10**7), moments, st.lists(moments, max_size=6))
def test_another_cut_beside_it_changes_no_part(
    whole: int, at: datetime, others: list[datetime]
) -> None:
    """What one report takes before a moment is what another, cut elsewhere too, leaves."""
    ends = START + timedelta(seconds=300_000)
    before, after = cut(whole, START, ends, [at])
    finer = sorted({*others, at})
    parts = cut(whole, START, ends, finer)
    at_index = finer.index(at) + 1
    assert (sum(parts[:at_index]), sum(parts[at_index:])) == (before, after)


def test_a_part_is_its_share_of_the_time() -> None:
    assert cut(900, START, START + timedelta(days=3), [START + timedelta(days=1)]) == [300, 600]


def test_an_interval_without_length_lies_where_it_ends() -> None:
    assert until(7, START, START, START) == 7
