"""Columns that should have sold and did not."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.compute.watch import BadEvidence, Kind
from service.compute.watch.silent import (
    HALF_LIFE_DAYS,
    PRIOR_SALES,
    Intervals,
    Silence,
    judge,
    since_last_sale,
)
from tests.service.compute.watch.silenced import Fleet, Watched, watch


def silence(**given: object) -> Silence:
    usual: dict[str, object] = {
        "shape": [40.0],
        "exposure_days": [40 / 1.4],
        "exposure": [5.0],
        "share": [0.12],
        "neighbours_sold": [60],
    }
    return Silence.of(**(usual | given))  # type: ignore[arg-type]


def sold_daily(units: list[list[int]], **given: object) -> Intervals:
    """Columns of one machine, a list of days each."""
    table = np.array(units)
    columns, days = table.shape
    usual: dict[str, object] = {
        "column": np.repeat(np.arange(columns), days),
        "ends": np.tile(np.arange(1.0, days + 1), columns),
        "units": table.ravel(),
        "exposure": np.ones(columns * days),
        "beside": (table.sum(axis=0) - table).ravel(),
        "machine": np.zeros(columns, int),
    }
    return Intervals.of(**(usual | given))  # type: ignore[arg-type]


def test_the_larger_of_both_chances_counts() -> None:
    judged = judge(silence())
    assert judged.p_value[0] == max(judged.by_rate[0], judged.by_share[0])
    assert judged.by_rate[0] == pytest.approx(0.00157938, rel=1e-5)
    assert judged.by_share[0] == pytest.approx(4.67e-4, rel=1e-3)


def test_a_closed_site_makes_none_of_its_columns_suspicious() -> None:
    judged = judge(silence(exposure=[30.0], neighbours_sold=[0]))
    assert judged.by_rate[0] < 1e-9
    assert judged.p_value[0] == 1
    assert not judged.found[0]


def test_the_only_column_of_a_machine_is_judged_by_its_rate_alone() -> None:
    judged = judge(silence(share=[1.0], neighbours_sold=[0]))
    assert judged.p_value[0] == judged.by_rate[0]


def test_a_column_that_cannot_sell_is_not_suspected() -> None:
    judged = judge(silence(can_sell=[False]))
    assert judged.p_value[0] == 1


def test_a_column_that_just_sold_is_not_suspected() -> None:
    assert judge(silence(exposure=[0.0], neighbours_sold=[0])).p_value[0] == 1


def test_the_evidence_is_told_in_words_and_figures() -> None:
    told = judge(silence()).suspicion(0)
    assert told.kind is Kind.SILENT
    assert told.said == (
        "Sold nothing where 7.0 units were to be expected, while the other columns of the machine "
        "sold 60 (this one usually makes 12% of its sales): by chance once in 630."
    )
    assert told.numbers["expected_units"] == pytest.approx(7)
    assert told.numbers["neighbours_sold_units"] == 60
    assert told.strength == pytest.approx(2.80, abs=0.01)


@given(st.floats(0.1, 30), st.floats(0.1, 30), st.integers(0, 300), st.integers(0, 100))
def test_a_longer_silence_is_never_less_suspicious(
    days: float, more: float, sold: int, beside: int
) -> None:
    first = judge(silence(exposure=[days], neighbours_sold=[sold]))
    later = judge(silence(exposure=[days + more], neighbours_sold=[sold + beside]))
    assert later.p_value[0] <= first.p_value[0] + 1e-12


@given(st.floats(1, 8), st.floats(0.1, 4))
def test_bursts_make_a_silence_less_suspicious(dispersion: float, more: float) -> None:
    calm = judge(silence(dispersion=[dispersion]))
    wild = judge(silence(dispersion=[dispersion + more]))
    assert wild.by_rate[0] >= calm.by_rate[0]
    assert wild.by_share[0] >= calm.by_share[0]


def test_a_share_that_is_not_known_well_is_less_evidence() -> None:
    assert judge(silence(share_shape=[5.0])).by_share[0] > judge(silence()).by_share[0]


def test_the_rate_is_of_what_sold_up_to_the_last_sale() -> None:
    """Worked by hand: without fading, 2 columns of 6 and 3 sales in 3 days; the machine's mean is
    9 / 6 = 1.5, so the rates are (2 + 6) / (2 / 1.5 + 3) and (2 + 3) / (2 / 1.5 + 3)."""
    given = sold_daily([[2, 2, 2, 0, 0], [1, 1, 1, 0, 0]], ends=np.tile([1.0, 2, 3, 4, 5], 2))
    found = since_last_sale(given, half_life_days=1e12)
    exposure = PRIOR_SALES / 1.5 + 3
    assert found.shape / found.exposure_days == pytest.approx([8 / exposure, 5 / exposure])
    assert found.share == pytest.approx([8 / 13, 5 / 13])
    assert found.exposure.tolist() == [2, 2]


def test_a_silence_does_not_change_the_rate_that_it_is_held_against() -> None:
    short = since_last_sale(sold_daily([[3, 0], [1, 2]]))
    long = since_last_sale(sold_daily([[3, *[0] * 60], [1, 2, *[0] * 59]]))
    assert long.shape == pytest.approx(short.shape)
    assert long.exposure_days == pytest.approx(short.exposure_days)


def test_neighbours_count_from_the_last_sale_on() -> None:
    found = since_last_sale(sold_daily([[3, 1, 0, 0], [2, 2, 2, 5]]))
    assert found.neighbours_sold.tolist() == [7, 0]
    assert found.exposure.tolist() == [2, 0]


def test_time_in_which_it_was_known_to_be_empty_is_no_silence() -> None:
    empty = np.array([False, False, True, True] + [False] * 4)
    found = since_last_sale(sold_daily([[3, 1, 0, 0], [2, 2, 2, 5]], empty=empty))
    assert found.exposure.tolist() == [0, 0]
    assert found.neighbours_sold.tolist() == [0, 0]


def test_sales_fade_by_half_in_a_half_life() -> None:
    """Worked by hand: one column, 4 sales on day 1 and 1 on the last day, a half-life later."""
    given = Intervals.of(
        column=[0, 0],
        ends=[1.0, 1.0 + HALF_LIFE_DAYS],
        units=[4, 1],
        exposure=[1, 1],
        beside=[0, 0],
        machine=[7],
    )
    found = since_last_sale(given)
    assert found.shape == pytest.approx([PRIOR_SALES + 3])
    assert found.exposure_days == pytest.approx([PRIOR_SALES / 2 + 1.5])


def test_a_column_that_never_sold_is_held_against_its_machine() -> None:
    found = since_last_sale(sold_daily([[0] * 20, [2] * 20]))
    assert found.exposure.tolist() == [20, 0]
    assert found.shape[0] == PRIOR_SALES
    assert found.shape[0] / found.exposure_days[0] == pytest.approx(2)


def test_a_fleet_that_never_sold_is_not_suspected() -> None:
    judged = judge(since_last_sale(sold_daily([[0] * 20, [0] * 20])))
    assert not judged.found.any()


def test_nothing_to_judge_is_no_error() -> None:
    nothing = Intervals.of(column=[], ends=[], units=[], exposure=[], beside=[], machine=[])
    assert judge(since_last_sale(nothing)).found.tolist() == []


@given(st.integers(0, 2**32 - 1))
def test_the_order_of_intervals_changes_nothing(seed: int) -> None:
    luck = np.random.default_rng(seed)
    units = luck.poisson(0.5, (3, 12)).tolist()
    plain = sold_daily(units)
    order = luck.permutation(36)
    shuffled = Intervals.of(
        column=plain.column[order],
        ends=plain.ends[order],
        units=plain.units[order],
        exposure=plain.exposure[order],
        beside=plain.beside[order],
        machine=plain.machine,
    )
    one, other = judge(since_last_sale(plain)), judge(since_last_sale(shuffled))
    assert other.p_value == pytest.approx(one.p_value)


@pytest.mark.parametrize(
    ("field", "wrong"),
    [
        ("shape", [0.0]),
        ("exposure_days", [-1.0]),
        ("dispersion", [0.5]),
        ("exposure", [-1.0]),
        ("share", [1.5]),
        ("share_shape", [0.0]),
        ("neighbours_sold", [1.5]),
        ("exposure", [1.0, 2.0]),
    ],
)
def test_figures_that_cannot_be_are_refused_by_name(field: str, wrong: list[float]) -> None:
    with pytest.raises(BadEvidence) as refused:
        silence(**{field: wrong})
    assert refused.value.field.split(".")[0] == field


def test_an_interval_of_a_column_that_is_not_there_is_refused_by_its_place() -> None:
    with pytest.raises(BadEvidence, match=r"column\.1: names none of the 1 columns"):
        Intervals.of(
            column=[0, 1],
            ends=[1, 1],
            units=[0, 0],
            exposure=[1, 1],
            beside=[0, 0],
            machine=[1],
        )


def test_fleets_with_closures_and_noise_are_watched_well_enough() -> None:
    """Goals of our own: precision of .80 at .88 found. A larger run is in tests/bench."""
    result = Watched()
    for seed in (1, 2, 3):
        result = result.and_(watch(Fleet(machines=120, days=160, seed=seed)))
    assert result.faults > 200
    assert result.precision >= 0.80, result.said()
    assert result.found >= 0.88, result.said()
