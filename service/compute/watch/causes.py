"""The likeliest causes of a finding, in order, from the set-up of that very column and history.

A naive Bayes reckoning: the share of each cause among closed tickets, with a prior that stands for
PRIOR_CASES of them, times how much more often each sign is seen where that cause was true than
where it was not (tempered by HEED). Shares narrow down from all machines to the same kind and the
same column, each with the wider as its prior (a hierarchical Dirichlet).
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Final, Self

from fleet.compute.cautions import Work

from .cause_codes import CAUSES, CauseCode
from .facts import ColumnFacts
from .priors import priors_of
from .sign import Sign
from .signs import SIGNS, signs_of
from .suspicion import Kind

#: How many closed tickets the usual order of causes stands for.
PRIOR_CASES: Final = 10.0
#: How many the wider group stands for beside those of the same kind of machine, or same column.
NARROWING_CASES: Final = 5.0
#: How many the usual share of a sign under a cause stands for.
WORTH: Final = 10.0
#: Signs overlap, so that reckoned as if they did not they make too sure: each counts for this
#: part of its evidence. Our own choice.
HEED: Final = 0.7
#: Less likely than this is not told.
LEAST_WEIGHT: Final = 0.02
#: A sign is told when it makes a cause this many times likelier, or less likely.
TELLING: Final = 1.5


@dataclass(frozen=True, slots=True)
class Case:
    """One closed ticket of a finding: its cause, and the signs as they stood when it was found."""

    cause: CauseCode
    signs: Mapping[str, bool] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class CauseCounts:
    """Closed tickets of one kind of finding, counted.

    `by_cause`: how many had the cause; `by_sign`: of those with a cause that knew of a sign, how
    many there were (second) and in how many it was true (first).
    """

    by_cause: Mapping[CauseCode, int] = field(default_factory=dict)
    by_sign: Mapping[str, Mapping[CauseCode, tuple[int, int]]] = field(default_factory=dict)

    @classmethod
    def of(cls, cases: Iterable[Case]) -> Self:
        """Count cases, in any order."""
        causes: Counter[CauseCode] = Counter()
        seen: dict[str, dict[CauseCode, tuple[int, int]]] = {}
        for case in cases:
            causes[case.cause] += 1
            for code, true in case.signs.items():
                had, known = seen.setdefault(code, {}).get(case.cause, (0, 0))
                seen[code][case.cause] = had + int(true), known + 1
        return cls(dict(causes), seen)

    @property
    def total(self) -> int:
        return sum(self.by_cause.values())


NO_CASES: Final = CauseCounts()


@dataclass(frozen=True, slots=True)
class LikelyCause:
    """One cause with how likely it is among those told.

    weight    0 to 1; the weights of all causes of a finding, told and untold, sum to 1
    words     the cause in words
    why       what speaks for it, strongest first; then what speaks against it
    check_first  what to look at first
    cases     closed tickets of the same kind of finding that had this cause, of `cases_in_all`
    work      whose cautions belong beside the check; None where nobody need reach in
    """

    code: CauseCode
    weight: float
    words: str
    why: tuple[str, ...]
    check_first: str
    cases: int
    cases_in_all: int
    work: Work | None

    @property
    def cases_said(self) -> str:
        """How much experience is behind it, in words."""
        if not self.cases_in_all:
            return "no such ticket has closed yet; the order is common practice"
        if self.cases_in_all == 1:
            return f"{self.cases} of 1 such ticket closed so"
        return f"{self.cases} of {self.cases_in_all} such tickets closed so"


def rank(
    kind: Kind,
    facts: ColumnFacts,
    history: CauseCounts = NO_CASES,
    *,
    same_kind: CauseCounts = NO_CASES,
    same_column: CauseCounts = NO_CASES,
    most: int = 5,
) -> tuple[LikelyCause, ...]:
    """The likeliest causes, likeliest first, at most `most`.

    `history` counts every closed ticket of this kind of finding, `same_kind` those of the same kind
    of machine and `same_column` those of the column itself (they are counted in the wider ones
    too). What facts do not say changes nothing.
    """
    shares = _shares(kind, facts, history, same_kind, same_column)
    logs = {cause: math.log(share) for cause, share in shares.items()}
    told: dict[CauseCode, list[tuple[float, str]]] = {cause: [] for cause in shares}
    for sign, true, counts in _answers(facts):
        words = sign.words(facts, true)
        for cause in shares:
            chance = _chance(sign, cause, true, history)
            logs[cause] += HEED * math.log(chance) if counts else 0.0
            if words and sign.bears_on(cause):
                elsewhere = sign.usual if true else 1 - sign.usual
                told[cause].append((math.log(chance / elsewhere), words))
    highest = max(logs.values())
    weights = {cause: math.exp(log - highest) for cause, log in logs.items()}
    total = sum(weights.values())
    order = sorted(weights, key=lambda cause: (-weights[cause], cause.value))
    return tuple(
        _likely(cause, weights[cause] / total, told[cause], history)
        for cause in order[:most]
        if weights[cause] / total >= LEAST_WEIGHT
    )


def _answers(facts: ColumnFacts) -> Iterator[tuple[Sign, bool, bool]]:
    """Each sign that the facts answer, its answer, and whether it counts beside its group.

    Of a group that says yes more than once only the first counts, and its noes do not.
    """
    known = signs_of(facts)
    spoken: set[str] = {sign.group for sign in SIGNS if sign.group and known.get(sign.code)}
    told: set[str] = set()
    for sign in SIGNS:
        true = known.get(sign.code)
        if true is None:
            continue
        counts = not sign.group or sign.group not in spoken or (true and sign.group not in told)
        if true and sign.group:
            told.add(sign.group)
        yield sign, true, counts


def _shares(
    kind: Kind,
    facts: ColumnFacts,
    history: CauseCounts,
    same_kind: CauseCounts,
    same_column: CauseCounts,
) -> dict[CauseCode, float]:
    """Share of each cause before any sign; causes that only history knows are taken in."""
    usual = priors_of(kind, facts.events or ())
    known = {cause for counts in (history, same_kind, same_column) for cause in counts.by_cause}
    # What was never thought of begins as rare as the rarest that was.
    least = min(usual.values()) / 2
    shares = {cause: usual.get(cause, least) for cause in CAUSES if cause in usual.keys() | known}
    total = sum(shares.values())
    shares = {cause: share / total for cause, share in shares.items()}
    for counts, worth in (
        (history, PRIOR_CASES),
        (same_kind, NARROWING_CASES),
        (same_column, NARROWING_CASES),
    ):
        shares = {
            cause: (worth * share + counts.by_cause.get(cause, 0)) / (worth + counts.total)
            for cause, share in shares.items()
        }
    return shares


def _chance(sign: Sign, cause: CauseCode, true: bool, history: CauseCounts) -> float:
    """Chance of a sign's answer where the cause is true: usual share and closed tickets."""
    had, known = history.by_sign.get(sign.code, {}).get(cause, (0, 0))
    usual = sign.under.get(cause, sign.usual)
    chance = (WORTH * usual + had) / (WORTH + known)
    return chance if true else 1 - chance


def _likely(
    cause: CauseCode, weight: float, told: list[tuple[float, str]], history: CauseCounts
) -> LikelyCause:
    about = CAUSES[cause]
    speaks_for = [said for log, said in sorted(told, reverse=True) if log > math.log(TELLING)]
    against = [f"but {said}" for log, said in sorted(told) if log < -math.log(TELLING)]
    if not speaks_for:
        speaks_for = [_by_experience(history.by_cause.get(cause, 0), history.total)]
    return LikelyCause(
        code=cause,
        weight=weight,
        words=about.words,
        why=tuple(dict.fromkeys((*speaks_for, *against))),
        check_first=about.check_first,
        cases=history.by_cause.get(cause, 0),
        cases_in_all=history.total,
        work=about.work,
    )


def _by_experience(cases: int, total: int) -> str:
    if not cases:
        return "a common cause; nothing on the record points to it"
    return f"{cases} of {total} such tickets closed so"
