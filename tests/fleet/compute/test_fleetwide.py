import math
from collections import Counter
from random import Random

from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.compute.columns import Columns
from fleet.compute.fit import fit
from fleet.compute.fleetwide import (
    NO_NOTCH,
    NO_PROGRAM,
    RISKS,
    VERDICTS,
    Answers,
    what_fits,
    where_each_fits,
    where_it_fits,
)
from fleet.compute.packages import Package, PackageKind
from fleet.compute.positions import Board, Half, StackPosition
from fleet.compute.rails import Rail, Runs
from fleet.compute.results import Fit, Hold, Verdict

from .sizes import (
    BAG,
    BOARD,
    BOTH,
    BOTTLE,
    CAN,
    FRONT,
    ONE_DEEP,
    SPIRAL,
    boards,
    packages,
    rule_sets,
    spirals,
    stacks,
)


def assert_same(answers: Answers, row: int, one: Fit, board) -> None:
    """Every number of a row equals the scalar answer's, to the last bit."""
    assert VERDICTS[answers.verdict[row]] is one.verdict
    assert answers.deep[row] == (one.deep or 0)
    for setting, notches, plays in (
        (one.front, answers.front_notch, answers.front_play_mm),
        (one.rear, answers.rear_notch, answers.rear_play_mm),
    ):
        if setting is None:
            assert notches[row] == NO_NOTCH
            assert math.isnan(plays[row])
        else:
            assert notches[row] == setting.notch
            assert plays[row] == setting.play_mm
    assert answers.capacity[row] == (one.capacity.units if one.capacity else 0)
    names = [program.name for program in board.programs]
    expected = names.index(one.program) if one.program is not None else NO_PROGRAM
    assert answers.program[row] == expected
    risks = [RISKS[risk] for risk in answers.risks[row] if risk != NO_PROGRAM]
    assert risks == [outlook.risk for outlook in one.programs]


@settings(max_examples=80, deadline=None)
@given(
    st.lists(st.tuples(st.one_of(stacks(), spirals()), boards()), min_size=1, max_size=8),
    packages(),
    rule_sets(),
)
def test_every_column_answers_as_it_would_alone(columns, package, rules):
    answers = where_it_fits(Columns.of(columns), package, rules)

    for row, (position, board) in enumerate(columns):
        assert_same(answers, row, fit(position, package, board, rules), board)


@settings(max_examples=80, deadline=None)
@given(
    st.one_of(stacks(), spirals()),
    boards(),
    st.lists(packages(), min_size=1, max_size=8),
    rule_sets(),
)
def test_every_package_answers_as_it_would_alone(position, board, many, rules):
    answers = what_fits(position, board, many, rules)

    for row, package in enumerate(many):
        assert_same(answers, row, fit(position, package, board, rules), board)


@settings(max_examples=50, deadline=None)
@given(
    st.lists(st.tuples(st.one_of(stacks(), spirals()), boards()), min_size=1, max_size=5),
    st.lists(packages(), min_size=1, max_size=4),
    rule_sets(),
)
def test_every_column_and_package_hold_what_they_would_alone(columns, many, rules):
    # Twice over, so that there are columns alike.
    units = where_each_fits(Columns.of(columns + columns), many, rules)

    for row, (position, board) in enumerate(columns + columns):
        for place, package in enumerate(many):
            one = fit(position, package, board, rules)
            assert units[row, place] == (one.capacity.units if one.capacity else 0)


def test_named_columns_answer_as_they_would_alone():
    columns = [(BOTH, BOARD), (SPIRAL, BOARD), (FRONT, BOARD)]
    for package in (CAN, BOTTLE, BAG):
        answers = where_it_fits(Columns.of(columns), package)
        for row, (position, board) in enumerate(columns):
            assert_same(answers, row, fit(position, package, board), board)
    assert where_it_fits(Columns.of(columns), CAN).fits.tolist() == [True, False, True]


def test_a_large_fleet_answers_as_each_column_would_alone():
    """A seeded sweep that reaches every verdict, hold and depth many times over."""
    dice = Random(20)
    only_one_deep = Board(programs=(ONE_DEEP,))
    columns = [(a_stack(dice), dice.choice([BOARD, only_one_deep])) for _ in range(300)]
    laid_out = Columns.of(columns)
    seen = Counter()
    for _ in range(16):
        package = a_package(dice)
        answers = where_it_fits(laid_out, package)
        for row, (position, board) in enumerate(columns):
            one = fit(position, package, board)
            assert_same(answers, row, one, board)
            settings = [setting for setting in (one.front, one.rear) if setting is not None]
            seen.update([one.verdict, one.deep, *(setting.hold for setting in settings)])
            seen.update(caution.code for caution in one.cautions)
    expected = [*Verdict, *Hold, 1, 2, 3, "no_notch_in_neck", "no_program_safe"]
    assert all(seen[what] >= 10 for what in expected), seen


def a_stack(dice: Random) -> StackPosition:
    def half():
        pitch, notches = dice.choice([4.0, 6.35, 12.7]), dice.randint(4, 24)
        far = dice.uniform(190, 400)
        runs = dice.choice(list(Runs))
        zero = far if runs is Runs.INWARD else far - (notches - 1) * pitch
        if min(zero, far - (notches - 1) * pitch) < 0:
            return half()
        rail = Rail(zero, pitch, notches, runs=runs, offset_mm=dice.choice([0.0, 2.5, -1.0]))
        return Half(far + dice.uniform(1, 8), rail)

    which = dice.choice(["front", "rear", "both"])
    return StackPosition(
        label="x",
        width_mm=dice.uniform(66, 140),
        height_mm=dice.uniform(60, 1200),
        front=half() if which != "rear" else None,
        rear=half() if which != "front" else None,
        greatest_deep=dice.randint(1, 3),
        cradle_units=dice.randint(0, 1),
    )


def a_package(dice: Random) -> Package:
    kind = dice.choice([*[kind for kind in PackageKind if kind is not PackageKind.BAG]])
    length = dice.choice([dice.uniform(110, 130), dice.uniform(180, 240)])
    neck_from = dice.uniform(0.6, 0.9)
    return Package(
        kind=kind,
        length_mm=length if dice.random() < 0.95 else None,
        diameter_mm=dice.uniform(55, 75) if dice.random() < 0.95 else None,
        neck_from_mm=neck_from * length,
        neck_to_mm=(neck_from + dice.uniform(0.01, 0.1)) * length if dice.random() < 0.8 else None,
        neck_diameter_mm=dice.choice([28, 28, 54]),
        width_mm=dice.uniform(50, 75),
        thickness_mm=dice.uniform(20, 60),
    )


def test_no_columns_and_no_packages_give_no_answers():
    assert where_it_fits(Columns.of([]), CAN).verdict.size == 0
    assert what_fits(BOTH, BOARD, []).verdict.size == 0
    assert where_each_fits(Columns.of([]), [CAN]).shape == (0, 1)
    assert where_each_fits(Columns.of([(BOTH, BOARD)]), []).shape == (1, 0)
