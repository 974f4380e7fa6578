import pytest
from hypothesis import given

from fleet.compute.positions import Board, DepthProgram, Half, SpiralPosition, StackPosition
from fleet.compute.rails import End, Rail, Runs
from fleet.compute.units import BadMeasure
from fleet.compute.words import notch_said, number_in_words, ordinal_in_words, said

from .sizes import FRONT_RAIL, REAR_RAIL, rails


def test_distances_run_outward_or_inward_from_the_rails_zero():
    assert [FRONT_RAIL.distance_mm(notch) for notch in (0, 1, 18)] == [140, 146.35, 254.3]
    assert [REAR_RAIL.distance_mm(notch) for notch in (0, 1)] == [254, 247.65]
    assert REAR_RAIL.outermost == 0
    assert REAR_RAIL.innermost == 18


def test_a_learned_offset_moves_every_notch():
    moved = Rail(140, 6.35, 19, offset_mm=-2)
    assert moved.distance_mm(0) == 138
    assert moved.distance_mm(1) == 144.35


@pytest.mark.parametrize(
    ("notch", "words"),
    [
        (0, "zero, fully back"),
        (1, "one past zero"),
        (3, "the first mark"),
        (6, "the second mark"),
        (7, "the second mark, then one more"),
        (8, "the second mark, then two more"),
        (18, "fully forward"),
    ],
)
def test_notches_are_said_as_a_hand_finds_them(notch, words):
    assert said(FRONT_RAIL, End.FRONT, notch) == words
    assert notch_said(words, FRONT_RAIL, End.FRONT) == notch


def test_the_rear_is_said_the_other_way_about():
    assert said(REAR_RAIL, End.REAR, 0) == "zero, fully back"
    assert said(REAR_RAIL, End.REAR, 18) == "fully forward"
    assert said(Rail(140, 6.35, 19), End.REAR, 18) == "fully back"


def test_a_rail_without_marks_is_counted_from_zero():
    assert said(Rail(140, 6.35, 19, mark_every=0), End.FRONT, 7) == "seven past zero"


@given(rails())
def test_what_is_said_is_found_again(rail):
    for end in End:
        for notch in range(rail.notches):
            assert notch_said(said(rail, end, notch), rail, end) == notch
            assert notch_said(str(notch), rail, end) == notch


@given(rails())
def test_every_notch_is_found_again_from_its_distance(rail):
    outward = [rail.distance_mm(notch) for notch in rail.outward()]
    assert outward == sorted(outward)
    assert len(set(outward)) == rail.notches
    assert rail.outward()[0] == rail.innermost
    assert rail.outward()[-1] == rail.outermost


@pytest.mark.parametrize("text", ["the ninth mark", "", "19", "seven", "-1"])
def test_words_that_name_no_notch_are_refused(text):
    with pytest.raises(BadMeasure, match="notch"):
        notch_said(text, FRONT_RAIL, End.FRONT)


def test_numbers_beyond_words_are_figures():
    assert [number_in_words(n) for n in (0, 12, 13)] == ["zero", "twelve", "13"]
    assert [ordinal_in_words(n) for n in (1, 12, 13, 21, 22, 23, 111)] == [
        "first",
        "twelfth",
        "13th",
        "21st",
        "22nd",
        "23rd",
        "111th",
    ]


@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda: Rail(140, 0, 19), "rail.pitch_mm"),
        (lambda: Rail(140, float("nan"), 19), "rail.pitch_mm"),
        (lambda: Rail(-1, 6, 19), "rail.zero_mm"),
        (lambda: Rail(140, 6, 0), "rail.notches"),
        (lambda: Rail(140, 6, 501), "rail.notches"),
        (lambda: Rail(100, 6.35, 19, runs=Runs.INWARD), "rail.notches"),
        (lambda: Rail(140, 6, 3, offset_mm=float("inf")), "rail.offset_mm"),
        (lambda: Half(250, FRONT_RAIL), "half.rail"),
        (lambda: StackPosition("A", 76, 900), "position"),
        (lambda: StackPosition("A", 0, 900, front=Half(260, FRONT_RAIL)), "position.width_mm"),
        (
            lambda: StackPosition("A", 76, 900, front=Half(260, FRONT_RAIL), greatest_deep=13),
            "position.greatest_deep",
        ),
        (lambda: SpiralPosition("1", 0, 50, 200, 140), "position.turns"),
        (lambda: SpiralPosition("1", 9, 50, 200, 140, 100), "position.shelf_width_mm"),
        (lambda: DepthProgram("p", 0, 24), "program.deep"),
        (lambda: DepthProgram("p", 1, 1e-300, 1), "program.cycle_s"),
        (lambda: DepthProgram("p", 1, 24, -1), "program.run_on_s"),
        (lambda: StackPosition("A", 76, 1e9, front=Half(260, FRONT_RAIL)), "position.height_mm"),
        (lambda: Board(vend_window_s=0), "board.vend_window_s"),
        (lambda: Board(programs=(DepthProgram("p", 1, 9), DepthProgram("p", 2, 9))), "programs"),
    ],
)
def test_a_measure_that_cannot_be_true_is_refused_by_name(make, field):
    with pytest.raises(BadMeasure) as refused:
        make()
    assert field in str(refused.value)


def test_a_notch_that_is_not_there_is_refused():
    with pytest.raises(BadMeasure, match="0 to 18"):
        FRONT_RAIL.distance_mm(19)
