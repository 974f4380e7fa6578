"""`compute watch`: what the numbers suspect, from what was expected and seen by column and day."""

from collections import defaultdict
from dataclasses import dataclass, replace
from datetime import date
from typing import Final

import numpy as np
from pydantic.dataclasses import dataclass as checked

from fleet.compute.units import BadMeasure, require_between
from service.compute.watch import (
    Case,
    CauseCounts,
    ColumnFacts,
    Kind,
    LikelyCause,
    Suspicion,
    code_of,
    missing,
    rank,
    signs_of,
    silent,
)
from service.compute.watch.suspicion import Value

from .asking import ASKED_STRICTLY, Computation

NO_FACTS: Final = ColumnFacts()
#: A rate that nothing is said of rests on so many sales.
USUAL_SALES_BEHIND: Final = 40.0
MOST_SALES: Final = 1e9
MOST_UNITS: Final = 1_000_000


@checked(frozen=True, config=ASKED_STRICTLY)
class ColumnWatched:
    """A column by a name of the asker's, with its machine likewise.

    sales_behind  sales that what is expected of it rests on; fewer make a silence less telling
    dispersion    variance over mean of its counts: 1 where buyers come one by one
    deep          products deep, as loaded
    facts         what is known of its set-up and its machine; what is left out says nothing
    """

    column: str
    machine: str
    sales_behind: float = USUAL_SALES_BEHIND
    dispersion: float = 1.0
    deep: int = 2
    facts: ColumnFacts = NO_FACTS


@checked(frozen=True, config=ASKED_STRICTLY)
class DaySeen:
    """Units that were to be expected of a column on a day, and units it sold.

    `empty`: it is known to have been empty, so that it could not sell.
    """

    column: str
    day: date
    expected_units: float
    sold_units: int
    empty: bool = False


@checked(frozen=True, config=ASKED_STRICTLY)
class CountSeen:
    """A count of a column: what was vended since the count before, and what is missing beyond that.

    `missing_units` is below zero where more was found than should be there.
    """

    column: str
    day: date
    vended_units: int
    missing_units: int


@checked(frozen=True, config=ASKED_STRICTLY)
class TicketClosed:
    """A closed ticket of a finding, to learn the order of causes from; `signs` as answered then."""

    kind: Kind
    cause: str
    signs: dict[str, bool] | None = None


@checked(frozen=True, config=ASKED_STRICTLY)
class WatchQuestion:
    """What was expected and seen; which columns are suspicious, and why?

    false_share       part of the silent columns found that may be false
    tolerated_rate    part of vends that may drop two
    off_by_one        chance that a count is one too many, and as much that it is one too few
    missing_chance    units missing are found when so unlikely or less
    """

    columns: tuple[ColumnWatched, ...]
    days: tuple[DaySeen, ...] = ()
    counts: tuple[CountSeen, ...] = ()
    closed: tuple[TicketClosed, ...] = ()
    false_share: float = silent.DEFAULT_Q
    tolerated_rate: float = missing.TOLERATED_RATE
    off_by_one: float = missing.OFF_BY_ONE
    missing_chance: float = 0.001

    def __post_init__(self) -> None:
        if not self.columns:
            raise BadMeasure("question.columns", "name at least one")
        require_between("question.false_share", self.false_share, 1e-6, 0.999, "of findings")
        require_between("question.tolerated_rate", self.tolerated_rate, 0, 0.999, "of vends")
        require_between("question.off_by_one", self.off_by_one, 0, 0.5, "of counts")
        require_between("question.missing_chance", self.missing_chance, 1e-12, 0.999, "chance")


@dataclass(frozen=True)
class ColumnJudged:
    """The chances of one column.

    silent_since  first day without a sale since the last one; null where it sold on the last day
    p_value       chance of the silence where nothing is wrong, the larger of those by its own rate
                  and by its share of the machine; false_share: the same over all columns asked
                  about (Benjamini & Hochberg)
    missing_p_value  chance of what counts miss or have too many; null without a count
    """

    column: str
    silent_since: date | None
    expected_units: float
    neighbours_sold_units: int
    chance_by_rate: float
    chance_by_share: float
    p_value: float
    false_share: float
    missing_units: int | None
    missing_p_value: float | None


@dataclass(frozen=True)
class FindingTold:
    """One suspicion with its evidence, and its likeliest causes in order.

    `signs` are what the facts answered; they come back with `closed` once it is known what it was.
    """

    column: str
    kind: Kind
    p_value: float | None
    strength: float
    strength_said: str
    said: str
    numbers: dict[str, Value]
    causes: tuple[LikelyCause, ...]
    signs: dict[str, bool]


@dataclass(frozen=True)
class Watched:
    """Every column's chances in the order asked, and what is found, the strongest first."""

    columns: tuple[ColumnJudged, ...]
    findings: tuple[FindingTold, ...]


def _watch(question: WatchQuestion) -> Watched:
    place = _places(question)
    since, silence = _silence(question, place)
    judged = silent.judge(silence, question.false_share)
    counted = _counted(question, place)
    losses = missing.judge(
        missing.Unaccounted.of(
            vended=[sum(one.vended_units for one in rows) for rows in counted],
            missing=[sum(one.missing_units for one in rows) for rows in counted],
            deep=[asked.deep for asked in question.columns],
        ),
        question.tolerated_rate,
        question.off_by_one,
    )
    history = _history(question)
    answers, findings = [], []
    for index, asked in enumerate(question.columns):
        rows = counted[index]
        answers.append(
            ColumnJudged(
                asked.column,
                since[index],
                float(judged.expected[index]),
                int(silence.neighbours_sold[index]),
                float(judged.by_rate[index]),
                float(judged.by_share[index]),
                float(judged.p_value[index]),
                float(judged.q_value[index]),
                int(losses.given.missing[index]) if rows else None,
                float(losses.p_value[index]) if rows else None,
            )
        )
        if judged.found[index]:
            findings.append(_told(asked, judged.suspicion(index), asked.facts, history))
        if rows and losses.p_value[index] <= question.missing_chance:
            shape = missing.nature_of(
                [one.vended_units for one in rows], [one.missing_units for one in rows]
            )
            kind = missing.kind_of(
                float(losses.given.vended[index]),
                float(losses.given.missing[index]),
                asked.deep,
                shape,
            )
            facts = asked.facts
            if facts.nature is None:
                facts = replace(facts, nature=shape.nature)
            findings.append(_told(asked, losses.suspicion(index, kind), facts, history))
    findings.sort(key=lambda one: -one.strength)
    return Watched(tuple(answers), tuple(findings))


def _told(
    asked: ColumnWatched,
    found: Suspicion,
    facts: ColumnFacts,
    history: dict[Kind, CauseCounts],
) -> FindingTold:
    return FindingTold(
        asked.column,
        found.kind,
        found.p_value,
        found.strength,
        found.strength_said,
        found.said,
        found.numbers,
        rank(found.kind, facts, history.get(found.kind, CauseCounts())),
        signs_of(facts),
    )


def _places(question: WatchQuestion) -> dict[str, int]:
    place: dict[str, int] = {}
    for index, asked in enumerate(question.columns):
        where = f"columns.{index}"
        if place.setdefault(asked.column, index) != index:
            raise BadMeasure(f"{where}.column", f"{asked.column} is named twice")
        require_between(f"{where}.sales_behind", asked.sales_behind, 0.01, MOST_SALES, "sales")
        require_between(f"{where}.dispersion", asked.dispersion, 1, 1_000, "variance over mean")
        require_between(f"{where}.deep", asked.deep, 1, 20, "products")
    return place


def _silence(
    question: WatchQuestion, place: dict[str, int]
) -> tuple[list[date | None], silent.Silence]:
    """When each column fell silent, and its silence in expected units: the rate is 1 in these."""
    columns, days = question.columns, question.days
    many = len(columns)
    row, seen = np.zeros(len(days), np.int64), set()
    for index, one in enumerate(days):
        where = f"days.{index}"
        if one.column not in place:
            raise BadMeasure(f"{where}.column", f"{one.column} is none of the columns")
        if (one.column, one.day) in seen:
            raise BadMeasure(f"{where}.day", f"{one.day} of {one.column} is given twice")
        seen.add((one.column, one.day))
        require_between(f"{where}.expected_units", one.expected_units, 0, MOST_UNITS, "units")
        require_between(f"{where}.sold_units", one.sold_units, 0, MOST_UNITS, "units")
        row[index] = place[one.column]
    number = np.array([one.day.toordinal() for one in days], np.int64)
    expected = np.array([one.expected_units for one in days], np.float64)
    sold = np.array([one.sold_units for one in days], np.float64)
    empty = np.array([one.empty for one in days], np.bool_)
    names = [asked.machine for asked in columns]
    _, machine = np.unique(np.array(names), return_inverse=True)
    of_machine_day: dict[tuple[int, int], float] = defaultdict(float)
    for index in range(len(days)):
        of_machine_day[int(machine[row[index]]), int(number[index])] += float(sold[index])
    beside = np.array(
        [
            of_machine_day[int(machine[row[index]]), int(number[index])] - float(sold[index])
            for index in range(len(days))
        ]
    )
    last = np.zeros(many, np.int64)
    np.maximum.at(last, row[sold > 0], number[sold > 0])
    silent_day = (number > last[row]) & ~empty
    usual = np.bincount(row, expected, many).astype(np.float64)
    whole = np.bincount(machine, usual)[machine]
    behind = np.array([asked.sales_behind for asked in columns])
    in_silence = number[silent_day], row[silent_day]
    begins: list[date | None] = [None] * many
    for day, column in sorted(zip(*(one.tolist() for one in in_silence), strict=True)):
        begins[column] = begins[column] or date.fromordinal(day)
    return begins, silent.Silence.of(
        shape=behind,
        exposure_days=behind,
        exposure=np.bincount(row[silent_day], expected[silent_day], many),
        share=np.divide(usual, whole, out=np.ones(many), where=whole > 0),
        share_shape=silent.SHARE_KNOWN_BY * behind,
        neighbours_sold=np.bincount(row[silent_day], beside[silent_day], many),
        dispersion=[asked.dispersion for asked in columns],
    )


def _counted(question: WatchQuestion, place: dict[str, int]) -> list[list[CountSeen]]:
    found: list[list[CountSeen]] = [[] for _ in question.columns]
    for index, one in enumerate(question.counts):
        where = f"counts.{index}"
        if one.column not in place:
            raise BadMeasure(f"{where}.column", f"{one.column} is none of the columns")
        require_between(f"{where}.vended_units", one.vended_units, 0, MOST_UNITS, "units")
        require_between(
            f"{where}.missing_units", one.missing_units, -MOST_UNITS, MOST_UNITS, "units"
        )
        found[place[one.column]].append(one)
    return [sorted(rows, key=lambda one: one.day) for rows in found]


def _history(question: WatchQuestion) -> dict[Kind, CauseCounts]:
    cases: dict[Kind, list[Case]] = defaultdict(list)
    for one in question.closed:
        cases[one.kind].append(Case(code_of(one.cause), one.signs or {}))
    return {kind: CauseCounts.of(those) for kind, those in cases.items()}


WATCH = Computation(
    "watch",
    "Which columns fell silent or lose units, from what was expected and seen by day, and why.",
    WatchQuestion,
    Watched,
    _watch,
)
