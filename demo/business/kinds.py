"""Four kinds of machine, all invented: three that stack drinks in columns, one with spirals.

Each was given a geometry of its own, so that the same can asks for other notches in each: one
counts its notches outward, one inward, one both ways; one has its columns on the door side only,
one has separate front and rear columns of which two may share a button, one has columns that lie
on both sides of the beam. Two deep wants a run-on of nothing, one deep wants the motor to run on
(common practice, no published source); the seconds are our own.
"""

from demo.business.shapes import Button, Kind
from fleet.compute.positions import (
    Board,
    DepthProgram,
    Half,
    Position,
    SpiralPosition,
    StackPosition,
)
from fleet.compute.rails import Rail, Runs

ONE_DEEP = "one deep"
TWO_DEEP = "two deep"

DOOR_SIDE = "Marlstone 9"
TWIN = "Marlstone Twin 8"
BOTH_SIDES = "Fallowmere 10"
SPIRAL = "Cobbet Spiral 32"


def _board(cycle_s: float, run_on_s: float) -> Board:
    return Board(
        vend_window_s=15.0,
        drop_sensor=True,
        programs=(
            DepthProgram(ONE_DEEP, deep=1, cycle_s=cycle_s, run_on_s=run_on_s),
            DepthProgram(TWO_DEEP, deep=2, cycle_s=cycle_s, run_on_s=0.0),
        ),
    )


def _door_side() -> Kind:
    half = Half(254.0, Rail(91.0, 8.0, 21, mark_every=3, runs=Runs.OUTWARD))
    positions = tuple(
        StackPosition(
            label=str(number),
            width_mm=80.0 if number <= 6 else 84.0,
            height_mm=1000.0,
            front=half,
            greatest_deep=2,
            cradle_units=1,
        )
        for number in range(1, 10)
    )
    return Kind(
        name=DOOR_SIDE,
        what="nine stacked columns on the door side",
        positions=positions,
        buttons=tuple(Button(position.label, (position.label,)) for position in positions),
        board=_board(18.0, 10.0),
        refrigerated_volume_l=520.0,
        combination=False,
        front_hides_label=True,
        refrigerant="R-290",
        refrigerant_charge_g=150.0,
    )


def _twin() -> Kind:
    front = Half(258.0, Rail(254.0, 6.35, 26, mark_every=3, runs=Runs.INWARD))
    rear = Half(258.0, Rail(94.0, 8.0, 21, mark_every=3, runs=Runs.OUTWARD))
    positions: list[Position] = []
    for number in range(1, 7):
        width_mm = 116.0 if number <= 4 else 80.0
        positions.append(
            StackPosition(
                f"{number}F", width_mm, 840.0, front=front, greatest_deep=2, cradle_units=1
            )
        )
        positions.append(
            StackPosition(f"{number}R", width_mm, 840.0, rear=rear, greatest_deep=2, cradle_units=1)
        )
    buttons = [Button(str(number), (f"{number}F", f"{number}R")) for number in range(1, 5)]
    single = ("5F", "5R", "6F", "6R")
    buttons += [Button(str(number), (column,)) for number, column in enumerate(single, start=5)]
    return Kind(
        name=TWIN,
        what="six front and six rear columns behind eight buttons",
        positions=tuple(positions),
        buttons=tuple(buttons),
        board=_board(20.0, 12.0),
        refrigerated_volume_l=690.0,
        combination=False,
        front_hides_label=True,
        refrigerant="R-290",
        refrigerant_charge_g=140.0,
    )


def _both_sides() -> Kind:
    front = Half(256.0, Rail(62.0, 10.0, 20, mark_every=3, runs=Runs.OUTWARD))
    rear = Half(256.0, Rail(252.0, 10.0, 20, mark_every=3, runs=Runs.INWARD))
    positions = tuple(
        StackPosition(
            label=str(number),
            width_mm=79.0,
            height_mm=720.0,
            front=front,
            rear=rear,
            greatest_deep=2,
            cradle_units=0,
        )
        for number in range(1, 11)
    )
    return Kind(
        name=BOTH_SIDES,
        what="ten stacked columns, each on both sides of the beam",
        positions=positions,
        buttons=tuple(Button(position.label, (position.label,)) for position in positions),
        board=_board(16.0, 9.0),
        refrigerated_volume_l=610.0,
        combination=False,
        front_hides_label=True,
        refrigerant="R-134a",
        refrigerant_charge_g=210.0,
    )


# row, lanes, turns, pitch, shelf height, lane width (mm)
_SHELVES = (
    ("A", 5, 8, 68.0, 245.0, 176.0),
    ("B", 6, 10, 54.0, 212.0, 146.0),
    ("C", 6, 10, 54.0, 212.0, 146.0),
    ("D", 8, 22, 22.0, 168.0, 72.0),
    ("E", 7, 22, 22.0, 168.0, 72.0),
)


def _spiral() -> Kind:
    positions = tuple(
        SpiralPosition(
            label=f"{row}{lane}",
            turns=turns,
            pitch_mm=pitch_mm,
            shelf_height_mm=shelf_height_mm,
            lane_width_mm=lane_width_mm,
            shelf_width_mm=890.0,
        )
        for row, lanes, turns, pitch_mm, shelf_height_mm, lane_width_mm in _SHELVES
        for lane in range(1, lanes + 1)
    )
    return Kind(
        name=SPIRAL,
        what="five shelves of spirals for snacks",
        positions=positions,
        buttons=tuple(Button(position.label, (position.label,)) for position in positions),
        board=Board(vend_window_s=15.0, drop_sensor=True),
        refrigerated_volume_l=0.0,
        combination=False,
    )


KINDS = (_door_side(), _twin(), _both_sides(), _spiral())
