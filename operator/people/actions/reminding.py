"""Reminding people of what comes due, once each turn, and of what is late, once more.

Who has turns to remind of says which they are, whom each is told to, and in which words. When
people are told, how often, and how much one letter names is the same for all.
"""

from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any, Final, Generic, TypeVar

from django.db.models import Model, Q, QuerySet
from django.db.models.functions import Coalesce

from people.models import Business, Person

from . import notices

NOT_BEFORE: Final = time(6)
"""By the business's clock; nobody is told at night."""
MOST_NOTICE: Final = timedelta(days=365)
NAMED: Final = 12
"""Turns named in one letter; of more it says how many."""

Row = TypeVar("Row", bound=Model)


@dataclass(frozen=True)
class Words(Generic[Row]):
    """What letters say of turns of one kind, which names their keys.

    `one` is the subject of a letter of a single turn, `many` of several, both for those that are
    late or not; `address` is where a letter that begins with a turn leads a person.
    """

    kind: str
    one: Callable[[Row, bool], str]
    many: Callable[[int, bool], str]
    line: Callable[[Row], str]
    address: Callable[[Person, Row], str]


def is_night(now: datetime) -> bool:
    """Whether it is too early to tell anybody anything."""
    return now.astimezone(Business.the().time_zone).time() < NOT_BEFORE


def remind(
    *,
    rows: "QuerySet[Row]",
    day: str,
    notice_days: Callable[[Row], int],
    told_of: Callable[[Row, bool], Sequence[Person]],
    words: Words[Row],
    now: datetime,
) -> int:
    """Tell of turns that come due within their notice, and of late ones; how many those were.

    `rows` are open turns in the order in which letters name them, with the columns `reminded_at`
    and `late_told_at`; `day` is the column of the day on which one is due. One letter a person
    and time tells of all of them; asked again it tells of none twice. In the caller's transaction,
    under a lock that keeps another reminder out.
    """
    today = Business.the().day_of(now)
    late_ones = Q(**{f"{day}__lt": today}, late_told_at__isnull=True)
    soon_ones = Q(
        **{f"{day}__gte": today, f"{day}__lte": today + MOST_NOTICE}, reminded_at__isnull=True
    )
    turns = [
        one
        for one in rows.filter(late_ones | soon_ones)
        if getattr(one, day) <= today + timedelta(days=notice_days(one))
    ]
    late = [one for one in turns if getattr(one, day) < today]
    soon = [one for one in turns if getattr(one, day) >= today]
    for is_late, some in ((True, late), (False, soon)):
        by_person: dict[Person, list[Row]] = defaultdict(list)
        for one in some:
            for person in told_of(one, is_late):
                by_person[person].append(one)
        for person, theirs in by_person.items():
            _tell(person, theirs, words, today, now, is_late=is_late)
    every: Any = rows.model._default_manager
    every.filter(pk__in=[one.pk for one in soon]).update(reminded_at=now)
    # Told that it is late, nobody needs the reminder any more.
    every.filter(pk__in=[one.pk for one in late]).update(
        late_told_at=now, reminded_at=Coalesce("reminded_at", now)
    )
    return len(turns)


def _tell(
    person: Person,
    turns: Sequence[Row],
    words: Words[Row],
    today: date,
    now: datetime,
    *,
    is_late: bool,
) -> None:
    count, first = len(turns), turns[0]
    lines = [words.line(one) for one in turns[:NAMED]]
    if count > NAMED:
        lines.append(f"and {count - NAMED} more")
    notices.tell(
        people=[person],
        # A turn is told of once in each of its two ways, so the first one names the letter.
        key=f"{words.kind} {'late' if is_late else 'due'} {today:%Y-%m-%d} {first.pk}",
        subject=words.one(first, is_late) if count == 1 else words.many(count, is_late),
        text="\n".join(lines),
        address=words.address(person, first),
        now=now,
    )
