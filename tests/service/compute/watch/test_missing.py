"""Units that no vend accounts for."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.compute.watch import BadEvidence, Kind
from service.compute.watch.missing import (
    Nature,
    Shape,
    Unaccounted,
    counting_error,
    judge,
    kind_of,
    nature_of,
)


def test_two_for_one_is_told_with_how_often() -> None:
    told = judge(Unaccounted.of(vended=[80], missing=[20])).suspicion(0, Kind.TWO_FOR_ONE)
    assert told.said == (
        "20 units gone beyond the 80 vends that were counted: about 25 in 100 vends; by chance "
        "less than once in a million."
    )
    assert told.numbers["extra_a_vend"] == pytest.approx(0.25)
    assert told.strength == 12


def test_every_vend_dropping_two_is_said_so() -> None:
    told = judge(Unaccounted.of(vended=[30], missing=[29])).suspicion(0, Kind.TWO_FOR_ONE)
    assert "about one with every vend" in told.said


def test_units_too_many_are_told_as_such() -> None:
    told = judge(Unaccounted.of(vended=[30], missing=[-9])).suspicion(0, Kind.MISSING)
    assert told.said.startswith("9 units more found than should be there (30 vends);")
    assert told.numbers["missing_units"] == -9


def test_a_unit_off_by_counting_is_nothing() -> None:
    judged = judge(Unaccounted.of(vended=[40, 40], missing=[1, -1]))
    assert (judged.p_value > 0.1).all()


def test_a_count_that_agrees_is_nothing_either_way() -> None:
    assert judge(Unaccounted.of(vended=[40], missing=[0])).p_value[0] == 1


def test_the_interval_of_the_rate_holds_what_was_seen() -> None:
    judged = judge(Unaccounted.of(vended=[100], missing=[10]))
    rate, low, high = judged.rate(0)
    assert rate == pytest.approx(0.1)
    # Jeffreys' interval for 10 of 100; Brown, Cai & DasGupta, Statistical Science 16 (2001).
    assert low == pytest.approx(0.0526, abs=5e-4)
    assert high == pytest.approx(0.1702, abs=5e-4)


@given(st.integers(0, 300), st.integers(-10, 40), st.integers(1, 20))
def test_more_missing_is_never_less_suspicious(vended: int, gone: int, more: int) -> None:
    one = judge(Unaccounted.of(vended=[vended], missing=[gone]))
    other = judge(Unaccounted.of(vended=[vended], missing=[gone + more]))
    assert other.too_few[0] <= one.too_few[0] + 1e-12
    assert other.too_many[0] >= one.too_many[0] - 1e-12


@given(st.integers(1, 24))
def test_the_errors_of_counts_are_chances_and_even(number: int) -> None:
    error = counting_error(number)
    assert error.sum() == pytest.approx(1)
    assert error.tolist() == pytest.approx(error[::-1].tolist())


def test_many_columns_are_each_judged_as_alone() -> None:
    luck = np.random.default_rng(3)
    vended, gone = luck.integers(0, 90, 200), luck.integers(-4, 9, 200)
    each, deep = luck.integers(0, 5, 200), luck.integers(1, 4, 200)
    together = judge(Unaccounted.of(vended=vended, missing=gone, counts_each=each, deep=deep))
    for index in range(0, 200, 7):
        part = slice(index, index + 1)
        alone = judge(
            Unaccounted.of(
                vended=vended[part], missing=gone[part], counts_each=each[part], deep=deep[part]
            )
        )
        assert alone.too_few[0] == pytest.approx(together.too_few[index], rel=1e-12)
        assert alone.too_many[0] == pytest.approx(together.too_many[index], rel=1e-12)
        assert alone.rate(0) == together.rate(index)


class TestNature:
    def test_units_that_go_with_the_vends(self) -> None:
        found = nature_of([40, 52, 47, 44], [3, 4, 3, 4])
        assert found.nature is Nature.STEADY

    def test_units_that_went_at_once(self) -> None:
        found = nature_of([40, 52, 47, 44], [0, 0, 11, 0])
        assert (found.nature, found.index) == (Nature.AT_ONCE, 2)
        assert found.said == "All 11 went in one interval."

    def test_a_miscount_beside_a_heap_does_not_hide_it(self) -> None:
        assert nature_of([40, 52, 47, 44], [1, 0, 11, 0]).nature is Nature.AT_ONCE

    def test_too_little_to_tell(self) -> None:
        assert nature_of([40, 52], [1, 0]).nature is Nature.CANNOT_TELL
        assert nature_of([40], [9]).nature is Nature.CANNOT_TELL

    @given(st.lists(st.integers(1, 80), min_size=3, max_size=8), st.integers(5, 30))
    def test_a_heap_in_one_of_several_like_intervals_is_never_steady(
        self, vends: list[int], heap: int
    ) -> None:
        at = int(np.argmin(vends))
        gone = [heap if index == at else 0 for index in range(len(vends))]
        assert nature_of(vends, gone).nature is not Nature.STEADY

    def test_what_double_vends_look_like_is_mostly_told_so(self) -> None:
        luck = np.random.default_rng(1)
        vends = luck.integers(30, 60, (200, 5))
        told = [nature_of(row, luck.binomial(row, 0.1)).nature for row in vends]
        assert told.count(Nature.STEADY) > 150
        assert told.count(Nature.AT_ONCE) < 5


class TestKind:
    @pytest.mark.parametrize(
        ("vended", "gone", "deep", "kind"),
        [
            (80, 20, 2, Kind.TWO_FOR_ONE),
            (80, 20, 1, Kind.TWO_FOR_ONE),
            (10, 12, 1, Kind.MISSING),
            (10, 19, 3, Kind.TWO_FOR_ONE),
            (80, -5, 2, Kind.MISSING),
        ],
    )
    def test_by_how_many_could_have_followed(
        self, vended: int, gone: int, deep: int, kind: Kind
    ) -> None:
        assert kind_of(vended, gone, deep) is kind

    def test_a_heap_is_no_double_vend(self) -> None:
        assert kind_of(80, 20, 2, Shape(Nature.AT_ONCE, 1, 0.01, "")) is Kind.MISSING


@pytest.mark.parametrize(
    ("given_", "field"),
    [
        ({"vended": [-1], "missing": [0]}, "vended.0"),
        ({"vended": [1], "missing": [0.5]}, "missing.0"),
        ({"vended": [1, 2], "missing": [0]}, "missing"),
        ({"vended": [1], "missing": [0], "counts_each": [99]}, "counts_each.0"),
    ],
)
def test_figures_that_cannot_be_are_refused_by_place(
    given_: dict[str, list[float]], field: str
) -> None:
    with pytest.raises(BadEvidence) as refused:
        Unaccounted.of(**given_)
    assert refused.value.field == field


def test_limits_that_cannot_be_are_refused() -> None:
    one = Unaccounted.of(vended=[10], missing=[4])
    with pytest.raises(BadEvidence, match="tolerated_rate"):
        judge(one, tolerated_rate=1)
    with pytest.raises(BadEvidence, match="off_by_one"):
        judge(one, off_by_one=0.6)


def test_a_count_that_is_three_off_is_no_wonder() -> None:
    judged = judge(Unaccounted.of(vended=[161, 161], missing=[-3, -8]))
    assert 0.005 < judged.p_value[0] < 0.1
    assert judged.p_value[1] < 1e-6
