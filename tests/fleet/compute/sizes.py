"""Packages, positions and boards that the fit tests share, and strategies that make more.

All invented: round figures of the order that such machines have.
"""

from __future__ import annotations

from hypothesis import strategies as st

from fleet.compute.packages import Package, PackageKind
from fleet.compute.positions import (
    Board,
    DepthProgram,
    Half,
    SpiralPosition,
    StackPosition,
)
from fleet.compute.rails import Rail, Runs
from fleet.compute.rules import Rules

ONE_DEEP = DepthProgram("one deep", deep=1, cycle_s=24, run_on_s=11)
TWO_DEEP = DepthProgram("two deep", deep=2, cycle_s=24, run_on_s=0)
BOARD = Board(programs=(ONE_DEEP, TWO_DEEP))

FRONT_RAIL = Rail(zero_mm=140, pitch_mm=6.35, notches=19)
REAR_RAIL = Rail(zero_mm=254, pitch_mm=6.35, notches=19, runs=Runs.INWARD)
FRONT = StackPosition("A front", 76, 900, front=Half(260, FRONT_RAIL))
REAR = StackPosition("A rear", 76, 900, rear=Half(260, REAR_RAIL))
BOTH = StackPosition("A", 76, 900, front=Half(260, FRONT_RAIL), rear=Half(260, REAR_RAIL))
SPIRAL = SpiralPosition("31", turns=10, pitch_mm=50, shelf_height_mm=210, lane_width_mm=140)

# The can makers' sheet for the 202 can: body 2.602 in across, 4.812 in high.
CAN = Package(PackageKind.CAN, length_mm=4.812 * 25.4, diameter_mm=2.602 * 25.4)
BOTTLE = Package(
    PackageKind.NECKED_BOTTLE,
    length_mm=225,
    diameter_mm=73,
    shoulder_mm=150,
    neck_from_mm=180,
    neck_to_mm=203,
    neck_diameter_mm=28,
    cap_diameter_mm=30,
)
PLAIN_BOTTLE = Package(PackageKind.BOTTLE_WITHOUT_NECK, length_mm=225, diameter_mm=73)
CARTON = Package(PackageKind.CARTON, length_mm=110, width_mm=70, thickness_mm=40, height_mm=110)
BAG = Package(PackageKind.BAG, width_mm=120, height_mm=180, thickness_mm=40, weight_g=40)


def lengths(least: float, most: float) -> st.SearchStrategy[float]:
    """Measures to a tenth of a millimetre, as a person takes them, and a few odd ones."""
    return st.one_of(
        st.integers(round(least * 10), round(most * 10)).map(lambda tenths: tenths / 10),
        st.floats(least, most, allow_nan=False),
    )


def maybe(strategy: st.SearchStrategy[float]) -> st.SearchStrategy[float | None]:
    """Now and then a size that is not measured."""
    return st.integers(0, 11).flatmap(lambda die: strategy if die else st.none())


@st.composite
def rails(draw: st.DrawFn) -> Rail:
    pitch = draw(lengths(3, 14))
    notches = draw(st.sampled_from([1, 2, 8, 16, 20, 24]))
    runs = draw(st.sampled_from(Runs))
    near = draw(lengths(60, 140))
    zero = near if runs is Runs.OUTWARD else near + notches * pitch
    return Rail(
        zero_mm=zero,
        pitch_mm=pitch,
        notches=notches,
        mark_every=draw(st.integers(0, 5)),
        runs=runs,
        offset_mm=draw(st.sampled_from([0.0, 0.0, 1.5, -2.0, 6.35])),
    )


@st.composite
def halves(draw: st.DrawFn) -> Half:
    rail = draw(rails())
    return Half(depth_mm=rail.nominal_farthest_mm + draw(lengths(0, 20)), rail=rail)


@st.composite
def stacks(draw: st.DrawFn) -> StackPosition:
    front = draw(st.one_of(st.none(), halves()))
    rear = draw(halves() if front is None else st.one_of(st.none(), halves()))
    return StackPosition(
        label="x",
        width_mm=draw(lengths(68, 130)),
        height_mm=draw(lengths(60, 1200)),
        front=front,
        rear=rear,
        greatest_deep=draw(st.integers(1, 4)),
        cradle_units=draw(st.integers(0, 2)),
    )


@st.composite
def spirals(draw: st.DrawFn) -> SpiralPosition:
    return SpiralPosition(
        label="y",
        turns=draw(st.integers(1, 20)),
        pitch_mm=draw(lengths(20, 90)),
        shelf_height_mm=draw(lengths(80, 300)),
        lane_width_mm=draw(lengths(60, 250)),
    )


@st.composite
def packages(draw: st.DrawFn) -> Package:
    most_often = [PackageKind.CAN, PackageKind.NECKED_BOTTLE, PackageKind.NECKED_BOTTLE]
    kind = draw(st.sampled_from([*PackageKind, *most_often]))
    length = draw(lengths(60, 260))
    neck = sorted((draw(st.floats(0.5, 0.99)), draw(st.floats(0.5, 0.99))))
    diameter = draw(lengths(50, 80))
    neck_known = draw(st.integers(0, 5)) > 0
    return Package(
        kind=kind,
        length_mm=draw(maybe(st.just(length))),
        diameter_mm=draw(maybe(st.just(diameter))),
        neck_from_mm=neck[0] * length if neck_known else None,
        neck_to_mm=neck[1] * length if neck_known or draw(st.booleans()) else None,
        neck_diameter_mm=draw(maybe(st.floats(0.3, 1.0).map(lambda share: share * diameter))),
        width_mm=draw(maybe(lengths(45, 90))),
        height_mm=draw(maybe(lengths(60, 280))),
        thickness_mm=draw(maybe(lengths(10, 90))),
        weight_g=draw(maybe(lengths(20, 700))),
    )


@st.composite
def boards(draw: st.DrawFn) -> Board:
    programs = tuple(
        DepthProgram(
            name=f"p{place}",
            deep=draw(st.integers(1, 3)),
            cycle_s=draw(lengths(6, 60)),
            run_on_s=draw(lengths(0, 20)),
        )
        for place in range(draw(st.integers(0, 3)))
    )
    return Board(
        vend_window_s=draw(lengths(5, 30)), drop_sensor=draw(st.booleans()), programs=programs
    )


def rule_sets() -> st.SearchStrategy[Rules]:
    return st.sampled_from(
        [
            Rules(),
            Rules(least_play_mm=3, most_play_mm=8),
            Rules(side_clearance_mm=0, neck_margin_mm=4, cap_least_mm=0),
        ]
    )
