"""Over and short: counted bags against what they should hold, by machine, driver or counter."""

from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Final, Literal

from fleet.compute.variance import Band, Judged, Repeated, band, judge, repeated
from people.models import Person

from .expected import HISTORY, Reckoned, reckoned

By = Literal["machine", "driver", "counter"]
MOST_DAYS: Final = 370
"""A period that is asked for at once: a year and a little."""
BYS: Final[tuple[By, ...]] = ("machine", "driver", "counter")
MOST_BEFORE: Final = 24
"""Bags of a machine before this one that tell what chance explains, the latest."""


@dataclass(frozen=True, slots=True)
class Difference:
    """One visit's bags beside what was expected. `judged` is None where they cannot be compared."""

    bag: Reckoned
    band: Band
    judged: Judged | None


@dataclass(frozen=True, slots=True)
class Subject:
    """One machine, driver or counter over the period.

    Amounts are sums over the bags that could be compared; `left_out` counts the others.
    """

    key: int
    label: str
    bags: int
    left_out: int
    expected: Decimal
    counted: Decimal
    short: int
    over: int
    repeated: Repeated

    @property
    def difference(self) -> Decimal:
        """Counted less expected; below zero is short."""
        return self.counted - self.expected


@dataclass(frozen=True, slots=True)
class Differences:
    """Bags of a period in order of time, and subjects, those with the most missing first."""

    since: datetime
    until: datetime
    by: By
    bags: tuple[Difference, ...]
    subjects: tuple[Subject, ...]


def differences(
    *,
    since: datetime,
    until: datetime,
    by: By = "machine",
    machines: Iterable[int] | None = None,
) -> Differences:
    """Bags sealed in `[since, until)` against what they should hold. A fixed number of queries.

    What chance explains is learned from the machine's own bags before each; bags counted by two
    people stand with both.
    """
    wanted = None if machines is None else list(machines)
    before: dict[int, list[Decimal]] = defaultdict(list)
    found: list[Difference] = []
    for one in reckoned(since=since - HISTORY, until=until, machines=wanted):
        difference = one.difference
        if one.sealed_at >= since:
            within = band(
                before[one.machine_id][-MOST_BEFORE:],
                expected=one.expected.amount or Decimal(0),
                spread=one.expected.spread,
            )
            judged = None if difference is None else judge(difference, within)
            found.append(Difference(one, within, judged))
        if difference is not None:
            before[one.machine_id].append(difference)
    return Differences(since, until, by, tuple(found), _subjects(found, by))


def _subjects(found: list[Difference], by: By) -> tuple[Subject, ...]:
    keys: Callable[[Reckoned], Iterable[int]] = {
        "machine": lambda bag: (bag.machine_id,),
        "driver": lambda bag: sorted(bag.sealed_by),
        "counter": lambda bag: sorted(bag.counted_by),
    }[by]
    groups: dict[int, list[Difference]] = defaultdict(list)
    for one in found:
        for key in keys(one.bag):
            groups[key].append(one)
    if by == "machine":
        names = {one.bag.machine_id: one.bag.asset_tag for one in found}
    else:
        names = dict(Person.objects.filter(pk__in=groups).values_list("pk", "name"))
    subjects = [_subject(key, names.get(key, ""), group) for key, group in groups.items()]
    return tuple(sorted(subjects, key=lambda one: (one.difference, one.label, one.key)))


def _subject(key: int, label: str, group: list[Difference]) -> Subject:
    told = [one for one in group if one.judged is not None]
    return Subject(
        key=key,
        label=label,
        bags=len(told),
        left_out=len(group) - len(told),
        expected=sum((one.bag.expected.amount or Decimal(0) for one in told), Decimal(0)),
        counted=sum((one.bag.counted or Decimal(0) for one in told), Decimal(0)),
        short=sum(one.judged.short for one in told if one.judged),
        over=sum(one.judged.over for one in told if one.judged),
        repeated=repeated([one.judged.difference for one in told if one.judged]),
    )
