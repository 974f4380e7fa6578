"""Settings measured in an empty cabinet of each kind, package by package.

Twelve-ounce cans lie two deep with the spacers all the way out, bottles one deep, a necked bottle
with the front pair in its neck, one without a usable neck with the front pair just beyond its
cap, everything else with about a quarter inch of play (common practice, no published source).
"""

from __future__ import annotations

from demo.business.kinds import BOTH_SIDES, DOOR_SIDE, ONE_DEEP, SPIRAL, TWIN, TWO_DEEP
from demo.business.shapes import ChartLine

_NARROW = ("1", "2", "3", "4", "5", "6")
_WIDE = ("7", "8", "9")
_TWIN_WIDE_FRONT = ("1F", "2F", "3F", "4F")
_TWIN_WIDE_REAR = ("1R", "2R", "3R", "4R")
_TWIN_FRONT = ("5F", "6F")
_TWIN_REAR = ("5R", "6R")
_ALL_TEN = tuple(str(number) for number in range(1, 11))
_SHELF_A = tuple(f"A{lane}" for lane in range(1, 6))
_SHELVES_BC = tuple(f"{row}{lane}" for row in "BC" for lane in range(1, 7))
_SHELVES_DE = tuple(f"D{lane}" for lane in range(1, 9)) + tuple(f"E{lane}" for lane in range(1, 8))

# kind, columns, package, deep, front notch, rear notch, capacity
_STACKS: tuple[tuple[str, tuple[str, ...], str, int, int | None, int | None, int], ...] = (
    (DOOR_SIDE, _NARROW, "can-12oz", 2, 20, None, 32),
    (DOOR_SIDE, _NARROW, "can-12oz-sleek", 1, 9, None, 20),
    (DOOR_SIDE, _NARROW, "can-16oz", 1, 10, None, 16),
    (DOOR_SIDE, _NARROW, "bottle-juice", 1, 11, None, 17),
    (DOOR_SIDE, _WIDE, "bottle-20oz", 1, 14, None, 14),
    (DOOR_SIDE, _WIDE, "bottle-500ml", 1, 12, None, 17),
    (DOOR_SIDE, _WIDE, "bottle-sport", 1, 15, None, 14),
    (DOOR_SIDE, _WIDE, "bottle-juice", 1, 11, None, 17),
    (DOOR_SIDE, _WIDE, "can-500ml", 1, 11, None, 16),
    (TWIN, _TWIN_WIDE_FRONT, "can-12oz", 2, 0, None, 38),
    (TWIN, _TWIN_WIDE_FRONT, "can-16oz", 1, 14, None, 19),
    (TWIN, _TWIN_WIDE_FRONT, "bottle-20oz", 1, 8, None, 15),
    (TWIN, _TWIN_WIDE_FRONT, "bottle-500ml", 1, 10, None, 21),
    (TWIN, _TWIN_WIDE_REAR, "can-12oz", 2, None, 20, 38),
    (TWIN, _TWIN_WIDE_REAR, "can-16oz", 1, None, 9, 19),
    (TWIN, _TWIN_WIDE_REAR, "bottle-20oz", 1, None, 18, 15),
    (TWIN, _TWIN_WIDE_REAR, "bottle-500ml", 1, None, 16, 21),
    (TWIN, _TWIN_FRONT, "can-12oz", 2, 0, None, 26),
    (TWIN, _TWIN_FRONT, "can-12oz-sleek", 1, 14, None, 17),
    (TWIN, _TWIN_FRONT, "can-8oz4-slim", 1, 17, None, 19),
    (TWIN, _TWIN_REAR, "bottle-sport", 1, None, 15, 12),
    (TWIN, _TWIN_REAR, "bottle-juice", 1, None, 11, 14),
    (TWIN, _TWIN_REAR, "carton-330ml", 1, None, 11, 18),
    (BOTH_SIDES, _ALL_TEN, "can-12oz", 2, 19, 0, 44),
    (BOTH_SIDES, _ALL_TEN, "can-16oz", 1, 11, 8, 22),
    (BOTH_SIDES, _ALL_TEN, "can-500ml", 1, 12, 7, 22),
    (BOTH_SIDES, _ALL_TEN, "can-250ml-sleek", 2, 18, 1, 52),
    (BOTH_SIDES, _ALL_TEN, "bottle-20oz", 1, 14, 1, 18),
    (BOTH_SIDES, _ALL_TEN, "bottle-500ml", 1, 13, 3, 22),
    (BOTH_SIDES, _ALL_TEN, "bottle-sport", 1, 15, 4, 18),
    (BOTH_SIDES, _ALL_TEN, "bottle-juice", 1, 12, 7, 22),
    (BOTH_SIDES, _ALL_TEN, "carton-330ml", 1, 12, 7, 30),
)

# columns, package, capacity
_SPIRALS = (
    (_SHELF_A, "bag-large", 8),
    (_SHELF_A, "bag-small", 8),
    (_SHELVES_BC, "bag-small", 10),
    (_SHELVES_DE, "bar", 22),
)

CHARTS = tuple(
    ChartLine(
        kind_name=kind_name,
        columns=columns,
        package_code=package_code,
        deep=deep,
        front_notch=front_notch,
        rear_notch=rear_notch,
        program=TWO_DEEP if deep == 2 else ONE_DEEP,
        capacity=capacity,
    )
    for kind_name, columns, package_code, deep, front_notch, rear_notch, capacity in _STACKS
) + tuple(
    ChartLine(SPIRAL, columns, package_code, None, None, None, None, capacity)
    for columns, package_code, capacity in _SPIRALS
)

_BY_PLACE = {
    (line.kind_name, column, line.package_code): line for line in CHARTS for column in line.columns
}


def chart_line(kind_name: str, column: str, package_code: str) -> ChartLine:
    """The settings for a package in a column. Raises KeyError where none have been measured."""
    try:
        return _BY_PLACE[kind_name, column, package_code]
    except KeyError:
        raise KeyError(
            f"no chart line for {package_code} in column {column} of {kind_name}; "
            "measure it and add it to the charts"
        ) from None
