"""Settings known to work, where each comes from, and what they teach about a rail."""

from __future__ import annotations

import statistics
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from fleet.compute.positions import Half, StackPosition
from fleet.compute.rails import End, Rail
from fleet.compute.results import Source
from fleet.compute.rules import DEFAULT_RULES, Rules
from fleet.compute.units import MOST_SIZE_MM, SAME_MM, BadMeasure, require_between, require_count

# Scales the median absolute deviation to the standard deviation of a normal spread:
# 1 / Phi^-1(3/4) (standard result of robust statistics).
MAD_TO_SIGMA = 1.4826

# Which source is believed before which; a label is a starting point and never wins.
_PRECEDENCE = {Source.MEASURED: 2, Source.LEARNED: 1}


@dataclass(frozen=True, slots=True)
class ChartEntry:
    """Settings of one package in one position, from one source.

    A notch of None says nothing about that half. `count` is how many passed changeovers stand
    behind a learned entry.
    """

    source: Source
    deep: int
    front_notch: int | None = None
    rear_notch: int | None = None
    program: str | None = None
    count: int = 1

    def __post_init__(self) -> None:
        if self.source is Source.COMPUTED:
            raise BadMeasure("chart.source", "a computed setting needs no chart entry")
        require_count("chart.deep", self.deep)
        require_count("chart.count", self.count)
        for name in ("front_notch", "rear_notch"):
            if getattr(self, name) is not None:
                require_count(f"chart.{name}", getattr(self, name), least=0)
        if self.front_notch is None and self.rear_notch is None:
            raise BadMeasure("chart", "names no notch; give front_notch, rear_notch or both")

    def notch(self, end: End) -> int | None:
        return self.front_notch if end is End.FRONT else self.rear_notch


def winner(entries: Sequence[ChartEntry], rules: Rules = DEFAULT_RULES) -> ChartEntry | None:
    """The entry believed before the computed setting: measured, then learned; else None.

    A learned entry needs `learned_least_count` passed changeovers. Of several of one source the
    one with most behind it, and of those the first.
    """
    trusted = [
        entry
        for entry in entries
        if entry.source is Source.MEASURED
        or (entry.source is Source.LEARNED and entry.count >= rules.learned_least_count)
    ]
    return max(trusted, key=lambda entry: (_PRECEDENCE[entry.source], entry.count), default=None)


@dataclass(frozen=True, slots=True)
class AsLeft:
    """How one rail was left after a changeover, and how its test vends went.

    Both distances are nominal, from the rail's measured zero and pitch without any learned
    correction, so that what was learned before does not count twice.
    """

    kind: str
    rail: str
    as_left_mm: float
    computed_mm: float
    test_vends_asked: int
    test_vends_passed: int

    def __post_init__(self) -> None:
        require_between("as_left.as_left_mm", self.as_left_mm, 0.0, MOST_SIZE_MM, "mm")
        require_between("as_left.computed_mm", self.computed_mm, 0.0, MOST_SIZE_MM, "mm")
        require_count("as_left.test_vends_asked", self.test_vends_asked, least=0)
        require_count("as_left.test_vends_passed", self.test_vends_passed, least=0)
        if self.test_vends_passed > self.test_vends_asked:
            raise BadMeasure(
                "as_left.test_vends_passed",
                f"{self.test_vends_passed} passed of {self.test_vends_asked} asked",
            )

    @classmethod
    def at_notches(
        cls, kind: str, name: str, rail: Rail, *, left: int, computed: int, asked: int, passed: int
    ) -> AsLeft:
        """A record from notch numbers of one rail, `name` being what the kind calls the rail.

        `computed` is the notch computed without a learned offset, as by a `fit` of the position
        `with_offsets` of zero. Raises BadMeasure for a notch the rail does not have.
        """
        plain = replace(rail, offset_mm=0.0)
        return cls(
            kind=kind,
            rail=name,
            as_left_mm=plain.distance_mm(left),
            computed_mm=plain.distance_mm(computed),
            test_vends_asked=asked,
            test_vends_passed=passed,
        )

    @property
    def passed(self) -> bool:
        """Whether it teaches anything: test vends were made, and all passed."""
        return 0 < self.test_vends_asked == self.test_vends_passed


@dataclass(frozen=True, slots=True)
class LearnedOffset:
    """What as-left settings teach about one rail of a kind.

    `difference_mm` is the median of as-left less computed distance. Where settings were left
    farther out than computed, the rail's notches lie nearer the beam than was measured, so
    `offset_mm`, to be added to every notch's distance, is its negative. `spread_mm` is the
    scaled median absolute deviation; `unlike` of the `count` differ from the median by more
    than three spreads (the median hardly heeds them).
    """

    kind: str
    rail: str
    difference_mm: float
    offset_mm: float
    spread_mm: float
    count: int
    unlike: int


def learn_offsets(
    as_left: Iterable[AsLeft], rules: Rules = DEFAULT_RULES
) -> dict[tuple[str, str], LearnedOffset]:
    """A robust offset for each kind and rail with enough changeovers whose test vends passed.

    Median and median absolute deviation (standard robust statistics): fewer than half the
    records, however far off, cannot carry the answer outside the rest.
    """
    differences: dict[tuple[str, str], list[float]] = {}
    for record in as_left:
        if record.passed:
            key = (record.kind, record.rail)
            differences.setdefault(key, []).append(record.as_left_mm - record.computed_mm)
    learned = {}
    for (kind, rail), found in sorted(differences.items()):
        if len(found) < max(1, rules.learned_least_count):
            continue
        middle = statistics.median(found)
        spread = MAD_TO_SIGMA * statistics.median(abs(one - middle) for one in found)
        learned[kind, rail] = LearnedOffset(
            kind=kind,
            rail=rail,
            difference_mm=middle,
            offset_mm=-middle if middle else 0.0,
            spread_mm=spread,
            count=len(found),
            unlike=sum(abs(one - middle) > 3 * spread + SAME_MM for one in found),
        )
    return learned


def with_offsets(position: StackPosition, offsets_mm: Mapping[End, float]) -> StackPosition:
    """The position with learned offsets on its rails, in place of any they had."""

    def corrected(half: Half | None, end: End) -> Half | None:
        if half is None or end not in offsets_mm:
            return half
        return replace(half, rail=replace(half.rail, offset_mm=offsets_mm[end]))

    return replace(
        position,
        front=corrected(position.front, End.FRONT),
        rear=corrected(position.rear, End.REAR),
    )
