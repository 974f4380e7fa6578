import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.compute.positions import Board, DepthProgram
from fleet.compute.results import Risk
from fleet.compute.timing import next_drop_s, outlook, outlooks, recommended

from .sizes import BOARD, ONE_DEEP, TWO_DEEP, boards

NO_SENSOR = Board(drop_sensor=False, programs=BOARD.programs)


@pytest.mark.parametrize(
    ("program", "loaded", "wait_s", "risk", "products"),
    [
        (ONE_DEEP, 1, 13, Risk.NONE, 1),
        (TWO_DEEP, 2, 12, Risk.NONE, 1),
        # One deep, but the motor stops at the drop: a whole turn is past the 15 s window.
        (TWO_DEEP, 1, 24, Risk.FALSE_SOLD_OUT, 1),
        # Two deep, and the motor runs on 12 s, just as long as the second needs to follow.
        (DepthProgram("p", 1, 24, 12), 2, 0, Risk.TWO_FOR_ONE, 2),
        (DepthProgram("p", 1, 24, 17), 3, -9, Risk.TWO_FOR_ONE, 3),
        (DepthProgram("p", 1, 24, 11.5), 2, 0.5, Risk.DROPS_INTO_RUN_ON, 1),
        (DepthProgram("p", 1, 24, 9), 1, 15, Risk.NONE, 1),
        (DepthProgram("p", 1, 24, 8.9), 1, 15.1, Risk.FALSE_SOLD_OUT, 1),
    ],
)
def test_a_program_against_the_window(program, loaded, wait_s, risk, products):
    found = outlook(program, loaded, BOARD)

    assert found.next_drop_s == pytest.approx(wait_s)
    assert found.risk is risk
    assert found.products_per_payment == products
    assert found.reason.code == f"program_{risk.value}"


@pytest.mark.parametrize(
    ("program", "loaded", "risk", "products"),
    [
        (ONE_DEEP, 1, Risk.NONE, 1),
        (TWO_DEEP, 2, Risk.NONE, 1),
        (ONE_DEEP, 2, Risk.TWO_FOR_ONE, 2),
        (TWO_DEEP, 1, Risk.NOTHING_DELIVERED, 0.5),
    ],
)
def test_without_a_drop_sensor_only_the_share_of_a_turn_counts(program, loaded, risk, products):
    found = outlook(program, loaded, NO_SENSOR)

    assert (found.risk, found.products_per_payment) == (risk, products)


def test_the_reason_is_said_in_the_trades_words():
    assert (
        "two products for one payment"
        in outlook(DepthProgram("p", 1, 24, 12), 2, BOARD).reason.text
    )
    assert "sold out while full" in outlook(TWO_DEEP, 1, BOARD).reason.text
    assert "deliver nothing" in outlook(TWO_DEEP, 1, NO_SENSOR).reason.text


def test_the_program_of_the_same_depth_is_recommended():
    assert recommended(outlooks(BOARD, 1)).program == "one deep"
    assert recommended(outlooks(BOARD, 2)).program == "two deep"


def test_a_safe_program_for_another_depth_is_better_than_none():
    found = outlooks(Board(programs=(DepthProgram("slow", 2, 24, 10), TWO_DEEP)), 1)
    assert recommended(found).program == "slow"


def test_nothing_is_recommended_where_nothing_is_safe():
    assert recommended(outlooks(Board(programs=(TWO_DEEP,)), 1)) is None
    assert recommended(outlooks(Board(), 1)) is None


@given(boards(), st.integers(1, 4))
def test_the_recommended_program_neither_doubles_nor_sells_out(board, deep):
    best = recommended(outlooks(board, deep))
    if best is not None:
        assert best.products_per_payment == 1
        if board.drop_sensor:
            assert 0 < best.next_drop_s <= board.vend_window_s + 1e-9


@given(st.floats(5, 60), st.floats(0, 20), st.integers(1, 6))
def test_deeper_loads_drop_sooner(cycle_s, run_on_s, deep):
    program = DepthProgram("p", 1, cycle_s, run_on_s)
    assert next_drop_s(program, deep + 1) < next_drop_s(program, deep)
