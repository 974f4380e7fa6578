"""Event ids taken apart and given their meaning: `EJB_12` is a dispense motor fault at 12."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Literal, cast

from fleet.compute.audit.event_table import (
    BILL_REPORTS,
    CHANGER_REPORTS,
    CODES,
    COMMON,
    GROUPS,
    OLDER,
)
from fleet.compute.audit.report import EventRecord, EventTotal, Segment
from fleet.compute.audit.values import Values, places

Urgency = Literal["now", "soon", "next_visit", "none"]
Job = Literal["repair", "clean", "fill", "change", "collect", "cooling", "check", "none"]

_HAPPENED = places("EA2", "happened")


@dataclass(frozen=True, slots=True)
class EventMeaning:
    """A base code's meaning. `known` is False where only the group, or nothing, is known."""

    base: str
    group: str
    about: str
    words: str
    urgency: Urgency
    job: Job
    known: bool = True


def split_id(event_id: str) -> tuple[str, str | None]:
    """Base and qualifier: "EJB_12" is ("EJB", "12"); "EGS" has none."""
    base, mark, qualifier = event_id.partition("_")
    return base.strip(), qualifier.strip() or None if mark else None


def _read_table() -> dict[str, EventMeaning]:
    table: dict[str, EventMeaning] = {}
    codes = {**CODES, "EK2": CODES["EK"]}
    for group, about in GROUPS.items():
        text = codes.get(group, "") + (COMMON if group.startswith("E") else "")
        for meaning in _read_lines(text, group, about):
            # A group's own meaning of a letter goes before the common one.
            table.setdefault(group + meaning.base, replace(meaning, base=group + meaning.base))
    table.update((meaning.base, meaning) for meaning in _read_lines(OLDER, "older", "cabinet"))
    return table


def _read_lines(text: str, group: str, about: str) -> Iterator[EventMeaning]:
    for line in filter(None, text.splitlines()):
        letters, urgency, job, words = line.split(" ", 3)
        yield EventMeaning(letters, group, about, words, cast(Urgency, urgency), cast(Job, job))


MEANINGS: Mapping[str, EventMeaning] = MappingProxyType(_read_table())
"""Every base code of the tables; the seed of reference data that staff may edit."""


def meaning_of(event_id: str) -> EventMeaning:
    """What an event id means; an unknown base is kept and grouped by its first letters."""
    base, _ = split_id(event_id)
    known = MEANINGS.get(base)
    if known is not None:
        return known
    group = "EK2" if base.startswith("EK2") else base[:2]
    about = GROUPS.get(group, "not of the standard")
    words = f"A maker's own event: {about}" if group in GROUPS else "A maker's own event"
    return EventMeaning(base, group, about, words, "none", "none", known=False)


def qualifier_words(event_id: str) -> str | None:
    """The qualifier in words: a device's own report where the id carries one, else "at 12"."""
    base, qualifier = split_id(event_id)
    if qualifier is None:
        return None
    report = None
    if base == "EAU" and len(qualifier) == 4 and qualifier.startswith("00"):
        report = CHANGER_REPORTS.get(qualifier[2:].upper())
    elif base == "ENU":
        report = BILL_REPORTS.get(qualifier.upper())
    if report:
        return report
    return f"code {qualifier}" if base.endswith("U") else f"at {qualifier}"


def read_events(segments: Iterable[Segment], values: Values) -> tuple[EventRecord, ...]:
    """Each EA1 that has an id."""
    events = []
    for segment in segments:
        event_id = values.text(segment, 1)
        if event_id is None:
            continue
        base, qualifier = split_id(event_id)
        events.append(
            EventRecord(
                event_id=event_id,
                base=base,
                qualifier=qualifier,
                time=values.time(segment, 2, 3),
                minutes=values.number(segment, 4),
                milliseconds=values.number(segment, 5),
                user=values.text(segment, 6),
            )
        )
    return tuple(events)


def read_event_totals(segments: Iterable[Segment], values: Values) -> tuple[EventTotal, ...]:
    """Each EA2 that has an id. Active is element 05 being 1; blank or 0 is not active."""
    totals = []
    for segment in segments:
        event_id = values.text(segment, 1)
        if event_id is None:
            continue
        base, qualifier = split_id(event_id)
        ever, since_reset = values.counts(segment, _HAPPENED)
        totals.append(
            EventTotal(
                event_id=event_id,
                base=base,
                qualifier=qualifier,
                count_since_reset=since_reset,
                count_ever=ever,
                active=values.number(segment, 5) == 1,
                total_minutes=values.number(segment, 6),
                user=values.text(segment, 4),
            )
        )
    return tuple(totals)
