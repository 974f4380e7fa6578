"""Which of many p-values to believe, against the paper's own example and a reference library.

Source: Benjamini & Hochberg, J. R. Statist. Soc. B 57 (1995), section 4: the fifteen p-values of a
trial on heart attacks; four are believed at q .05 where Bonferroni's rule believes three.
Reference library: scipy.stats.false_discovery_control.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from service.compute.watch import BadEvidence
from service.compute.watch.fdr import benjamini_hochberg, bonferroni, q_values

PUBLISHED = (
    *(0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344),
    *(0.0459, 0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1.0000),
)


def test_four_of_the_fifteen_are_believed_and_three_by_bonferroni() -> None:
    assert benjamini_hochberg(PUBLISHED, 0.05).tolist() == [True] * 4 + [False] * 11
    assert bonferroni(PUBLISHED, 0.05).tolist() == [True] * 3 + [False] * 12


def test_the_order_of_the_p_values_changes_nothing() -> None:
    order = np.random.default_rng(5).permutation(15)
    believed = benjamini_hochberg(np.array(PUBLISHED)[order], 0.05)
    assert sorted(order[believed].tolist()) == [0, 1, 2, 3]


@given(st.lists(st.floats(0, 1), min_size=1, max_size=60))
def test_adjusted_p_values_are_those_of_the_reference_library(p_values: list[float]) -> None:
    ours, theirs = q_values(p_values), stats.false_discovery_control(p_values)
    assert ours == pytest.approx(theirs, abs=1e-12)


@given(st.lists(st.floats(0, 1), min_size=1, max_size=60), st.floats(0.01, 0.5))
def test_at_least_what_bonferroni_believes_is_believed(p_values: list[float], q: float) -> None:
    believed = benjamini_hochberg(p_values, q)
    assert (believed | ~bonferroni(p_values, q)).all()


def test_no_p_value_is_believed_of_none() -> None:
    assert q_values([]).tolist() == []


@pytest.mark.parametrize("wrong", [-0.1, 1.1, float("nan")])
def test_what_is_no_chance_is_refused_by_its_place(wrong: float) -> None:
    with pytest.raises(BadEvidence) as refused:
        q_values([0.2, wrong])
    assert refused.value.field == "p_values.1"


def test_a_false_share_that_is_no_share_is_refused() -> None:
    with pytest.raises(BadEvidence, match="q: must lie between 0 and 1"):
        benjamini_hochberg(PUBLISHED, 0)


def test_among_columns_with_nothing_wrong_few_are_raised() -> None:
    """With no fault at all, anything is raised on at most q of the days (by the definition)."""
    luck = np.random.default_rng(11)
    days = [benjamini_hochberg(luck.random(500), 0.05).any() for _ in range(600)]
    assert np.mean(days) <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / 600)
