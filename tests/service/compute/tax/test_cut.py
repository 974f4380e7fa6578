"""Parts of an interval add up to it over any cut."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st

from service.compliance.packs import rule_by_key
from service.compute.tax.classes import ClassCode
from service.compute.tax.cut import cut, until
from service.compute.tax.report import Fact, by_key, report
from service.compute.tax.rules import Rules, Sale
from service.compute.tax.split import RateOf

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


@given(
    st.integers(0, 10**6),
    st.integers(1, 300_000),
    st.lists(st.tuples(moments, st.integers(0, 1200)), min_size=1, max_size=5),
    st.sampled_from(["fl-food", "ca-food", "nj-food", "wa-food", "ga-gross", "md-vending"]),
)
def test_a_cut_at_changes_of_rate_loses_nothing(
    minor: int, seconds: int, changes: list[tuple[datetime, int]], key: str
) -> None:
    """An interval across any changes of rate: the report of its parts holds all of its receipts."""
    rule = rule_by_key(key)
    assert rule
    changes = sorted(changes)
    ends = START + timedelta(seconds=seconds)
    parts = cut(minor, START, ends, [moment for moment, _ in changes])
    facts = [
        Fact(
            f"part {n}",
            Sale(rule.state, START.date(), min(rule.classes, default=ClassCode.CANDY)),
            (RateOf("X", "x", "state", Decimal(rate).scaleb(-4)),),
            1,
            Decimal(part).scaleb(-2),
        )
        for n, (part, rate) in enumerate(zip(parts, [600, *(r for _, r in changes)], strict=True))
    ]
    found = report(facts, Rules.of([rule]))
    assert found.totals.receipts == found.totals.parts == Decimal(minor).scaleb(-2)
    assert sum(part.receipts for part in by_key(found).values()) == found.totals.receipts
    assert sum(part.tax for part in by_key(found).values()) == found.totals.tax
