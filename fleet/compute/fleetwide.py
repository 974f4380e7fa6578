"""The fit of one package to every column of a fleet, or of every package to one column.

The same rules as `fit`, number for number, without the words: enough to filter a list while a
person types. Ask `fit` for the reasons of any one of the answers. Lengths in mm.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fleet.compute.columns import (
    BoardArrays,
    Columns,
    Flags,
    Floats,
    HalfArrays,
    Ints,
    PackageArrays,
    SpiralArrays,
    StackArrays,
)
from fleet.compute.packages import Package, PackageKind
from fleet.compute.packing import HALF_ROOT_THREE
from fleet.compute.positions import Board, Position
from fleet.compute.results import Risk, Verdict
from fleet.compute.rules import DEFAULT_RULES, Rules
from fleet.compute.timing import SAME_S
from fleet.compute.units import SAME_MM

VERDICTS = tuple(Verdict)
RISKS = tuple(Risk)
NO_NOTCH = -1
NO_PROGRAM = -1

_FITS = VERDICTS.index(Verdict.FITS)
_CAUTION = VERDICTS.index(Verdict.FITS_WITH_CAUTION)
_DOES_NOT = VERDICTS.index(Verdict.DOES_NOT_FIT)
_CANNOT_TELL = VERDICTS.index(Verdict.CANNOT_TELL)
_BOTTLES = (PackageKind.NECKED_BOTTLE, PackageKind.BOTTLE_WITHOUT_NECK)


@dataclass(frozen=True, slots=True)
class Answers:
    """One answer a column, or a package, as arrays of shape (N,).

    `verdict` indexes VERDICTS. Where it is neither of the fitting ones, `deep` and `capacity`
    are 0, notches NO_NOTCH, plays NaN and programs NO_PROGRAM; so are the notches and plays of
    a half that is not there, and all settings of a spiral. `program` is the recommended one's
    place on its board. `risks` (N, P) indexes RISKS for each program, NO_PROGRAM beyond the last.
    """

    verdict: Ints
    deep: Ints
    front_notch: Ints
    rear_notch: Ints
    front_play_mm: Floats
    rear_play_mm: Floats
    capacity: Ints
    program: Ints
    risks: Ints

    @classmethod
    def blank(cls, count: int, programs: int) -> Answers:
        return cls(
            verdict=np.full(count, _DOES_NOT),
            deep=np.zeros(count, np.int64),
            front_notch=np.full(count, NO_NOTCH),
            rear_notch=np.full(count, NO_NOTCH),
            front_play_mm=np.full(count, np.nan),
            rear_play_mm=np.full(count, np.nan),
            capacity=np.zeros(count, np.int64),
            program=np.full(count, NO_PROGRAM),
            risks=np.full((count, programs), NO_PROGRAM),
        )

    def put(self, rows: Ints, part: Answers) -> None:
        """Set the answers of some rows."""
        for name in self.__slots__:
            getattr(self, name)[rows] = getattr(part, name)

    @property
    def fits(self) -> Flags:
        """Where the package fits, with or without a caution."""
        return np.isin(self.verdict, (_FITS, _CAUTION))


def where_it_fits(columns: Columns, package: Package, rules: Rules = DEFAULT_RULES) -> Answers:
    """One package against every column."""
    packages = PackageArrays.of([package])
    answers = Answers.blank(columns.count, columns.boards.deep.shape[1])
    with np.errstate(invalid="ignore", divide="ignore"):
        if columns.stack_rows.size:
            part = _stacks(columns.stacks, columns.boards, packages, rules)
            answers.put(columns.stack_rows, part)
        if columns.spiral_rows.size:
            part = _spirals(columns.spirals, packages, rules, columns.boards.deep.shape[1])
            answers.put(columns.spiral_rows, part)
    return answers


def what_fits(
    position: Position,
    board: Board,
    packages: Sequence[Package] | PackageArrays,
    rules: Rules = DEFAULT_RULES,
) -> Answers:
    """Every package against one column."""
    columns = Columns.of([(position, board)])
    many = packages if isinstance(packages, PackageArrays) else PackageArrays.of(packages)
    if not many.kind.size:
        return Answers.blank(0, columns.boards.deep.shape[1])
    with np.errstate(invalid="ignore", divide="ignore"):
        if columns.stack_rows.size:
            return _stacks(columns.stacks, columns.boards, many, rules)
        return _spirals(columns.spirals, many, rules, columns.boards.deep.shape[1])


def where_each_fits(
    columns: Columns, packages: Sequence[Package], rules: Rules = DEFAULT_RULES
) -> Ints:
    """Units that each column would hold of each package, (columns, packages); 0: does not fit."""
    units = np.zeros((columns.count, len(packages)), np.int64)
    stacks, spirals = columns.stacks, columns.spirals
    halves = stacks.front.present.astype(np.int64) + stacks.rear.present
    kinds, like = stacks.alike_along() if columns.stack_rows.size else (stacks, columns.stack_rows)
    with np.errstate(invalid="ignore", divide="ignore"):
        for place, package in enumerate(packages):
            one = PackageArrays.of([package])
            if columns.stack_rows.size and package.kind is not PackageKind.BAG:
                along = _along(kinds, one, rules)
                deep = np.where(along.chosen & ~np.isnan(one["length_mm"]), along.deep, 0)[like]
                known, refused, _, layers = _across(stacks, one, rules)
                held = (layers + stacks.cradle_units) * deep * halves
                units[columns.stack_rows, place] = np.where(known & ~refused, held, 0)
            if columns.spiral_rows.size:
                held = _spirals(spirals, one, rules, 1).capacity
                units[columns.spiral_rows, place] = held
    return units


@dataclass(frozen=True, slots=True)
class _Placed:
    """One half at one depth: is it held, where, with what play, and what is amiss."""

    held: Flags
    notch: Ints
    play_mm: Floats
    failed: Flags
    unknown: Flags
    caution: Flags


@dataclass(frozen=True, slots=True)
class _Along:
    """How deep the products lie between the rails; where not `chosen`, `deep` is 0."""

    chosen: Flags
    unknown: Flags
    caution: Flags
    deep: Ints
    front_notch: Ints
    rear_notch: Ints
    front_play_mm: Floats
    rear_play_mm: Floats


def _along(stacks: StackArrays, packages: PackageArrays, rules: Rules) -> _Along:
    count = max(stacks.width_mm.size, packages.kind.size)
    length = packages["length_mm"]
    found = _Along(
        chosen=np.zeros(count, bool),
        unknown=np.zeros(count, bool),
        caution=np.zeros(count, bool),
        deep=np.zeros(count, np.int64),
        front_notch=np.full(count, NO_NOTCH),
        rear_notch=np.full(count, NO_NOTCH),
        front_play_mm=np.full(count, np.nan),
        rear_play_mm=np.full(count, np.nan),
    )
    for deep in range(int(stacks.greatest_deep.max()), 0, -1):
        front = _half(stacks.front, packages, deep, is_front=True, rules=rules)
        rear = _half(stacks.rear, packages, deep, is_front=False, rules=rules)
        lies = deep <= stacks.greatest_deep
        for half in (stacks.front, stacks.rear):
            lies = lies & (~half.present | (deep * length <= half.depth_mm + SAME_MM))
        held = (front.held | ~stacks.front.present) & (rear.held | ~stacks.rear.present)
        take = lies & held & ~found.chosen
        found.unknown[:] |= lies & (front.unknown | rear.unknown) & ~front.failed & ~rear.failed
        found.chosen[:] |= take
        found.deep[take] = deep
        for placed, notches, plays in (
            (front, found.front_notch, found.front_play_mm),
            (rear, found.rear_notch, found.rear_play_mm),
        ):
            take_half = take & placed.held
            notches[take_half] = np.broadcast_to(placed.notch, count)[take_half]
            plays[take_half] = np.broadcast_to(placed.play_mm, count)[take_half]
        found.caution[:] |= take & (front.caution | rear.caution)
    return found


def _stacks(
    stacks: StackArrays, boards: BoardArrays, packages: PackageArrays, rules: Rules
) -> Answers:
    count = max(stacks.width_mm.size, packages.kind.size)
    length = packages["length_mm"]
    across_known, across_refused, across_caution, layers = _across(stacks, packages, rules)
    found = Answers.blank(count, boards.deep.shape[1])
    along = _along(stacks, packages, rules)
    for name in ("deep", "front_notch", "rear_notch", "front_play_mm", "rear_play_mm"):
        getattr(found, name)[:] = getattr(along, name)
    measured = across_known & ~np.isnan(length)
    refused = (
        across_refused
        | packages.is_kind(PackageKind.BAG)
        | (~np.isnan(length) & ~along.chosen & ~along.unknown)
    )
    fits = measured & along.chosen & ~refused
    risks, program, near = _programs(boards, found.deep, rules)
    caution = along.caution | across_caution | (program == NO_PROGRAM) | near
    found.verdict[:] = np.where(
        refused, _DOES_NOT, np.where(fits, np.where(caution, _CAUTION, _FITS), _CANNOT_TELL)
    )
    halves = stacks.front.present.astype(np.int64) + stacks.rear.present
    found.capacity[:] = (layers + stacks.cradle_units) * found.deep * halves
    found.program[:] = program
    found.risks[:] = risks
    blank = Answers.blank(count, boards.deep.shape[1])
    for name in Answers.__slots__:
        if name != "verdict":
            getattr(found, name)[~fits] = getattr(blank, name)[~fits]
    return found


def _across(
    stacks: StackArrays, packages: PackageArrays, rules: Rules
) -> tuple[Flags, Flags, Flags, Ints]:
    """Whether all is measured; whether refused; whether a caution is due; layers."""
    is_round = packages.is_round
    across = np.where(is_round, packages["diameter_mm"], packages["width_mm"])
    up = np.where(is_round, packages["diameter_mm"], packages["thickness_mm"])
    width, height = stacks.width_mm, stacks.height_mm
    known = ~np.isnan(across) & ~np.isnan(up)
    too_wide = width - across < rules.side_clearance_mm - SAME_MM
    bridges = width >= 2 * across - SAME_MM
    refused = too_wide | bridges | (height - up < -SAME_MM)
    shift = np.maximum(width - across, 0.0)
    rise = height - across
    step = np.sqrt(across * across - shift * shift)
    nested = width - across > across * HALF_ROOT_THREE
    third = step / 2 + shift * HALF_ROOT_THREE
    aside = shift - (shift / 2 - step * HALF_ROOT_THREE)
    three = third + np.sqrt(across * across - aside * aside)
    threes = np.floor((rise + SAME_MM) / three)
    over = rise - threes * three
    more = 1 + (over >= step - SAME_MM).astype(np.int64) + (over >= third - SAME_MM)
    zigzag = np.floor((rise + SAME_MM) / step) + 1
    flat = np.floor((height + SAME_MM) / up)
    layers = np.where(is_round, np.where(nested, 3 * threes + more, zigzag), flat)
    usable = known & ~refused
    counted = np.where(usable, layers, 0.0).astype(np.int64)
    return known, refused, usable & is_round & nested, counted


def _half(
    half: HalfArrays, packages: PackageArrays, deep: int, *, is_front: bool, rules: Rules
) -> _Placed:
    at = half.at_mm
    reach = deep * packages["length_mm"]
    at_cap = packages.is_kind(*_BOTTLES) & is_front
    least = np.where(at_cap, rules.cap_least_mm, rules.least_play_mm)
    beyond = at >= (reach + least - SAME_MM)[:, np.newaxis]
    index = np.argmax(beyond, axis=1)
    some = beyond.any(axis=1)
    outermost = np.maximum(half.notches - 1, 0)
    if deep >= 2:
        play_out = _taken(at, outermost) - reach
        full = packages.is_kind(PackageKind.CAN) & (play_out >= least - SAME_MM)
        full &= play_out <= rules.most_play_mm + SAME_MM
        index, some = np.where(full, outermost, index), some | full
    play = _taken(at, index) - reach
    held = some & ~(play > rules.most_play_mm + SAME_MM)
    unknown = caution = np.zeros(held.shape, bool)
    if is_front and deep == 1:
        necked = packages.is_kind(PackageKind.NECKED_BOTTLE)
        step = packages["diameter_mm"] - packages["neck_diameter_mm"]
        usable = np.isnan(step) | (step >= rules.neck_least_step_mm - SAME_MM)
        by_neck = necked & usable
        unmeasured = np.isnan(packages["neck_from_mm"]) | np.isnan(packages["neck_to_mm"])
        in_neck, neck_index = _neck(at, packages, rules)
        in_neck &= by_neck
        index = np.where(in_neck, neck_index, index)
        play = np.where(in_neck, _taken(at, neck_index) - packages["neck_from_mm"], play)
        unknown = half.present & by_neck & unmeasured
        held = (held | in_neck) & ~unknown
        caution = half.present & necked & ~in_neck
    return _Placed(
        held=held & half.present,
        notch=half.number(index),
        play_mm=play,
        failed=half.present & ~held & ~unknown,
        unknown=unknown,
        caution=caution,
    )


def _neck(at: Floats, packages: PackageArrays, rules: Rules) -> tuple[Flags, Ints]:
    neck_from, neck_to = packages["neck_from_mm"], packages["neck_to_mm"]
    nearest = neck_from + rules.neck_margin_mm - SAME_MM
    farthest = neck_to - rules.neck_margin_mm + SAME_MM
    within = (at >= nearest[:, np.newaxis]) & (at <= farthest[:, np.newaxis])
    off = np.abs(at - ((neck_from + neck_to) / 2)[:, np.newaxis])
    off = np.where(within, off, np.inf)
    index = np.argmax(off <= off.min(axis=1, keepdims=True) + SAME_MM, axis=1)
    return np.any(within, axis=1), index


def _taken(at: Floats, index: Ints) -> Floats:
    """The distance at one place of each row; one row serves all places, or the other way."""
    rows = np.arange(at.shape[0]) if at.shape[0] > 1 else np.zeros(1, np.int64)
    taken: Floats = at[rows, index]
    return taken


def _programs(boards: BoardArrays, deep: Ints, rules: Rules) -> tuple[Ints, Ints, Flags]:
    """Each program's risk, the recommended program, and whether that one is a near thing."""
    loaded = deep[:, np.newaxis]
    window = boards.vend_window_s[:, np.newaxis]
    sensor = boards.drop_sensor[:, np.newaxis]
    apart = boards.cycle_s / loaded
    wait = np.where(sensor, apart - boards.run_on_s, apart)
    with_sensor = np.select(
        [wait <= SAME_S, wait > window + SAME_S, wait < rules.least_rest_s - SAME_S],
        [_risk(Risk.TWO_FOR_ONE), _risk(Risk.FALSE_SOLD_OUT), _risk(Risk.DROPS_INTO_RUN_ON)],
        _risk(Risk.NONE),
    )
    without = np.select(
        [loaded == boards.deep, loaded > boards.deep],
        [_risk(Risk.NONE), _risk(Risk.TWO_FOR_ONE)],
        _risk(Risk.NOTHING_DELIVERED),
    )
    risks = np.where(sensor, with_sensor, without)
    risks = np.where((boards.deep > 0) & (loaded > 0), risks, NO_PROGRAM)
    rank = np.select(
        [
            (risks == _risk(Risk.NONE)) & (boards.deep == loaded),
            risks == _risk(Risk.NONE),
            risks == _risk(Risk.DROPS_INTO_RUN_ON),
        ],
        [3, 2, 1],
        0,
    )
    best = rank.max(axis=1, keepdims=True)
    slack = np.where(rank == best, np.minimum(wait, window - wait), -np.inf)
    # Of equals the board's first, as in timing.recommended.
    program = np.where(best[:, 0] > 0, np.argmax(slack, axis=1), NO_PROGRAM)
    return risks, program, best[:, 0] == 1


def _risk(risk: Risk) -> int:
    return RISKS.index(risk)


def _spirals(
    spirals: SpiralArrays, packages: PackageArrays, rules: Rules, programs: int
) -> Answers:
    is_round = packages.is_round
    thickness = np.where(is_round, packages["diameter_mm"], packages["thickness_mm"])
    width = np.where(is_round, packages["diameter_mm"], packages["width_mm"])
    height = np.where(is_round, packages["length_mm"], packages["height_mm"])
    known = ~(np.isnan(thickness) | np.isnan(width) | np.isnan(height))
    room = spirals.pitch_mm - thickness
    refused = room < rules.pitch_clearance_mm - SAME_MM
    refused |= spirals.lane_width_mm - width < rules.side_clearance_mm - SAME_MM
    refused |= spirals.shelf_height_mm - height < rules.head_clearance_mm - SAME_MM
    caution = room > rules.pitch_most_clearance_mm + SAME_MM
    caution |= (packages["weight_g"] >= rules.heavy_g) | (height >= rules.tall_mm - SAME_MM)
    fits = known & ~refused
    found = Answers.blank(refused.size, programs)
    found.verdict[:] = np.where(
        refused, _DOES_NOT, np.where(known, np.where(caution, _CAUTION, _FITS), _CANNOT_TELL)
    )
    found.deep[:] = fits
    found.capacity[:] = np.where(fits, spirals.turns, 0)
    return found
