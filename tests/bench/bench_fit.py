"""One package against every column of a large fleet, beside the plain loop over `fit`.

Run by name: `pytest tests/bench/bench_fit.py -s`. The ratio is what is asserted, since machines
differ; the plain loop of the same answers is the baseline.
"""

from __future__ import annotations

from collections.abc import Callable
from time import perf_counter

import pytest

from fleet.compute.columns import Columns, PackageArrays
from fleet.compute.fit import fit
from fleet.compute.fleetwide import VERDICTS, what_fits, where_it_fits
from fleet.compute.packages import Package, PackageKind
from fleet.compute.positions import Board, DepthProgram, Half, SpiralPosition, StackPosition
from fleet.compute.rails import Rail, Runs

COLUMNS = 10_000
BOARD = Board(programs=(DepthProgram("one deep", 1, 24, 11), DepthProgram("two deep", 2, 24, 0)))
BOTTLE = Package(
    PackageKind.NECKED_BOTTLE,
    length_mm=225,
    diameter_mm=68,
    neck_from_mm=180,
    neck_to_mm=203,
    neck_diameter_mm=28,
)


def a_fleet() -> list[tuple[StackPosition | SpiralPosition, Board]]:
    """Columns that all differ a little, every tenth a spiral."""
    fleet: list[tuple[StackPosition | SpiralPosition, Board]] = []
    for number in range(COLUMNS):
        if number % 10 == 9:
            fleet.append((SpiralPosition(str(number), 12, 60 + number % 30, 260, 140), BOARD))
            continue
        front = Rail(zero_mm=130 + number % 17, pitch_mm=6.35, notches=19)
        rear = Rail(zero_mm=250 + number % 11, pitch_mm=6.35, notches=19, runs=Runs.INWARD)
        fleet.append(
            (
                StackPosition(
                    str(number),
                    width_mm=66 + number % 23,
                    height_mm=700 + number % 300,
                    front=Half(265, front),
                    rear=Half(262, rear),
                ),
                BOARD,
            )
        )
    return fleet


def best_of(times: int, work: Callable[[], object]) -> float:
    taken = []
    for _ in range(times):
        start = perf_counter()
        work()
        taken.append(perf_counter() - start)
    return min(taken)


@pytest.mark.bench
def test_a_large_fleet_is_asked_far_faster_than_column_by_column():
    fleet = a_fleet()
    laying_out_s = best_of(3, lambda: Columns.of(fleet))
    columns = Columns.of(fleet)

    loop_s = best_of(1, lambda: [fit(position, BOTTLE, board) for position, board in fleet])
    array_s = best_of(5, lambda: where_it_fits(columns, BOTTLE))

    answers = where_it_fits(columns, BOTTLE)
    assert [VERDICTS[code] for code in answers.verdict[:200]] == [
        fit(position, BOTTLE, board).verdict for position, board in fleet[:200]
    ]
    print(
        f"\n{COLUMNS} columns x one package: loop {loop_s:.2f} s, arrays {array_s * 1e3:.0f} ms "
        f"({loop_s / array_s:.0f}x), laying out once {laying_out_s * 1e3:.0f} ms"
    )
    assert loop_s / array_s > 20
    # Even with the fleet laid out anew for each question.
    assert loop_s / (array_s + laying_out_s) > 5
    assert array_s + laying_out_s < 1


@pytest.mark.bench
def test_many_packages_are_asked_of_one_column_faster_than_one_by_one():
    many = [Package(PackageKind.CAN, 90 + number / 20, 50 + number % 25) for number in range(1000)]
    position, board = a_fleet()[0]
    arrays = PackageArrays.of(many)

    loop_s = best_of(3, lambda: [fit(position, package, board) for package in many])
    array_s = best_of(5, lambda: what_fits(position, board, arrays))

    print(
        f"\n{len(many)} packages x one column: loop {loop_s * 1e3:.0f} ms, "
        f"arrays {array_s * 1e3:.1f} ms ({loop_s / array_s:.0f}x)"
    )
    assert loop_s / array_s > 10
