"""Many columns or many packages laid out as arrays, for questions asked of a whole fleet.

Every array runs over the columns, or over the packages; missing sizes are NaN. Lengths in mm.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from fleet.compute.packages import Package, PackageKind
from fleet.compute.positions import Board, Half, Position, SpiralPosition, StackPosition
from fleet.compute.rails import Runs

Floats: TypeAlias = NDArray[np.float64]
Ints: TypeAlias = NDArray[np.int64]
Flags: TypeAlias = NDArray[np.bool_]

_SIZES = (
    "length_mm",
    "diameter_mm",
    "neck_from_mm",
    "neck_to_mm",
    "neck_diameter_mm",
    "width_mm",
    "height_mm",
    "thickness_mm",
    "weight_g",
)
_KINDS = tuple(PackageKind)


@dataclass(frozen=True, slots=True)
class PackageArrays:
    """Packages as arrays of shape (M,); `kind` indexes the members of PackageKind in order."""

    kind: Ints
    sizes: dict[str, Floats]

    @classmethod
    def of(cls, packages: Sequence[Package]) -> PackageArrays:
        return cls(
            kind=np.array([_KINDS.index(one.kind) for one in packages], dtype=np.int64),
            sizes={name: _floats([getattr(one, name) for one in packages]) for name in _SIZES},
        )

    def is_kind(self, *kinds: PackageKind) -> Flags:
        """Which packages are of one of these kinds."""
        return np.isin(self.kind, [_KINDS.index(kind) for kind in kinds])

    @property
    def is_round(self) -> Flags:
        return self.is_kind(*(kind for kind in PackageKind if kind.is_round))

    def __getitem__(self, name: str) -> Floats:
        return self.sizes[name]


@dataclass(frozen=True, slots=True)
class HalfArrays:
    """One half of many stacks. `at_mm` (N, K) holds the notches from the beam outward, NaN
    beyond a rail's last and all along where there is no such half (`depth_mm` NaN too)."""

    depth_mm: Floats
    at_mm: Floats
    notches: Ints
    inward: Flags

    @classmethod
    def of(cls, halves: Sequence[Half | None]) -> HalfArrays:
        rails = [None if half is None else half.rail for half in halves]
        notches = np.array([0 if rail is None else rail.notches for rail in rails], np.int64)
        inward = np.array([rail is not None and rail.runs is Runs.INWARD for rail in rails], bool)
        zero = _floats([None if rail is None else rail.zero_mm for rail in rails])
        pitch = _floats([None if rail is None else rail.pitch_mm for rail in rails])
        offset = _floats([None if rail is None else rail.offset_mm for rail in rails])
        order = np.arange(max(1, int(notches.max(initial=0))))[np.newaxis, :]
        number = np.where(inward[:, np.newaxis], notches[:, np.newaxis] - 1 - order, order)
        step = number * pitch[:, np.newaxis]
        # The same sums in the same order as Rail.distance_mm, so that both agree to the last bit.
        signed = np.where(inward[:, np.newaxis], -step, step)
        at = zero[:, np.newaxis] + signed + offset[:, np.newaxis]
        return cls(
            depth_mm=_floats([None if half is None else half.depth_mm for half in halves]),
            at_mm=np.where(order < notches[:, np.newaxis], at, np.nan),
            notches=notches,
            inward=inward,
        )

    def taken(self, rows: Ints) -> HalfArrays:
        """Those of some rows."""
        return HalfArrays(**{name: getattr(self, name)[rows] for name in self.__slots__})

    @property
    def present(self) -> Flags:
        return self.notches > 0

    def number(self, index: Ints) -> Ints:
        """Notch numbers from places counted outward."""
        return np.where(self.inward, self.notches - 1 - index, index)


@dataclass(frozen=True, slots=True)
class StackArrays:
    """Stack positions as arrays of shape (N,)."""

    width_mm: Floats
    height_mm: Floats
    greatest_deep: Ints
    cradle_units: Ints
    front: HalfArrays
    rear: HalfArrays

    @classmethod
    def of(cls, positions: Sequence[StackPosition]) -> StackArrays:
        return cls(
            width_mm=_floats([one.width_mm for one in positions]),
            height_mm=_floats([one.height_mm for one in positions]),
            greatest_deep=np.array([one.greatest_deep for one in positions], np.int64),
            cradle_units=np.array([one.cradle_units for one in positions], np.int64),
            front=HalfArrays.of([one.front for one in positions]),
            rear=HalfArrays.of([one.rear for one in positions]),
        )

    def alike_along(self) -> tuple[StackArrays, Ints]:
        """One stack of each kind of rails and depths, and for every stack the place of its like.

        A fleet has thousands of columns and a few kinds of them: what does not ask for width and
        height is worked out once a kind.
        """
        halves = [
            np.column_stack([half.depth_mm, half.notches, half.inward, half.at_mm])
            for half in (self.front, self.rear)
        ]
        rows = np.nan_to_num(np.column_stack([self.greatest_deep, *halves]), nan=-np.inf)
        _, first, like = np.unique(rows, axis=0, return_index=True, return_inverse=True)
        kinds = StackArrays(
            width_mm=self.width_mm[first],
            height_mm=self.height_mm[first],
            greatest_deep=self.greatest_deep[first],
            cradle_units=self.cradle_units[first],
            front=self.front.taken(first),
            rear=self.rear.taken(first),
        )
        return kinds, like.reshape(-1)


@dataclass(frozen=True, slots=True)
class SpiralArrays:
    """Spiral positions as arrays of shape (N,)."""

    turns: Ints
    pitch_mm: Floats
    shelf_height_mm: Floats
    lane_width_mm: Floats

    @classmethod
    def of(cls, positions: Sequence[SpiralPosition]) -> SpiralArrays:
        return cls(
            turns=np.array([one.turns for one in positions], np.int64),
            pitch_mm=_floats([one.pitch_mm for one in positions]),
            shelf_height_mm=_floats([one.shelf_height_mm for one in positions]),
            lane_width_mm=_floats([one.lane_width_mm for one in positions]),
        )


@dataclass(frozen=True, slots=True)
class BoardArrays:
    """Boards as arrays: (N,) and, for their programs in the board's order, (N, P).

    `deep` is 0 beyond a board's last program.
    """

    vend_window_s: Floats
    drop_sensor: Flags
    deep: Ints
    cycle_s: Floats
    run_on_s: Floats

    @classmethod
    def of(cls, boards: Sequence[Board]) -> BoardArrays:
        most = max((len(board.programs) for board in boards), default=0)
        shape = (len(boards), max(1, most))
        deep = np.zeros(shape, np.int64)
        cycle, run_on = np.full(shape, np.nan), np.full(shape, np.nan)
        for row, board in enumerate(boards):
            for place, program in enumerate(board.programs):
                deep[row, place] = program.deep
                cycle[row, place] = program.cycle_s
                run_on[row, place] = program.run_on_s
        return cls(
            vend_window_s=_floats([board.vend_window_s for board in boards]),
            drop_sensor=np.array([board.drop_sensor for board in boards], bool),
            deep=deep,
            cycle_s=cycle,
            run_on_s=run_on,
        )


@dataclass(frozen=True, slots=True)
class Columns:
    """Columns of a fleet, stacks and spirals apart; `*_rows` are their places in the fleet."""

    count: int
    stack_rows: Ints
    stacks: StackArrays
    boards: BoardArrays
    spiral_rows: Ints
    spirals: SpiralArrays

    @classmethod
    def of(cls, columns: Sequence[tuple[Position, Board]]) -> Columns:
        """Lay out columns; do it once and ask many questions of it."""
        stacks = [
            (row, one, board)
            for row, (one, board) in enumerate(columns)
            if isinstance(one, StackPosition)
        ]
        spirals = [
            (row, one) for row, (one, _) in enumerate(columns) if isinstance(one, SpiralPosition)
        ]
        return cls(
            count=len(columns),
            stack_rows=np.array([row for row, _, _ in stacks], np.int64),
            stacks=StackArrays.of([one for _, one, _ in stacks]),
            boards=BoardArrays.of([board for _, _, board in stacks]),
            spiral_rows=np.array([row for row, _ in spirals], np.int64),
            spirals=SpiralArrays.of([one for _, one in spirals]),
        )


def _floats(values: Sequence[float | None]) -> Floats:
    return np.array([np.nan if value is None else value for value in values], dtype=np.float64)
