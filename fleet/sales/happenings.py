"""Events in reads become records: what stands at each machine's latest read, and what happened."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from fleet.compute.audit.report import EventRecord, EventTotal, MachineTime, Report

from .models import EventOccurrence, MachineEvent

_KEPT = [
    "is_active",
    "active_since_id",
    "count_ever",
    "total_minutes",
    "last_text",
    "last_at",
    "first_read_id",
    "last_read_id",
]


@dataclass(frozen=True, slots=True)
class Told:
    """One read that is new among its machine's, by key, place, and what it says."""

    machine_id: int
    read_id: int
    place: int
    report: Report


@dataclass(slots=True)
class EventBook:
    """The stored events of several machines, changed in memory and written at once."""

    events: dict[int, dict[str, MachineEvent]]
    before: dict[tuple[int, str], tuple[Any, ...]]

    @classmethod
    def load(cls, machine_ids: Iterable[int]) -> "EventBook":
        """One query."""
        rows = MachineEvent.objects.filter(machine__in=list(machine_ids)).order_by("pk")
        events: dict[int, dict[str, MachineEvent]] = defaultdict(dict)
        before = {}
        for row in rows:
            events[row.machine_id][row.code] = row
            before[row.machine_id, row.code] = _state(row)
        return cls(events, before)

    def tell_latest(self, told: Told) -> None:
        """A read that comes after all others of its machine says what stands now."""
        active = set()
        for total in told.report.event_totals:
            row = self._row(told, total)
            if total.active:
                active.add(row.code)
                if row.active_since_id is None:
                    row.active_since_id = told.read_id
            row.count_ever, row.total_minutes = total.count_ever, total.total_minutes
            row.last_read_id = told.read_id
        for row in self.events[told.machine_id].values():
            row.is_active = row.code in active
            if not row.is_active:
                row.active_since_id = None
        self._tell_moments(told)

    def tell_earlier(
        self, told: Told, places: Mapping[int, int], next_read: Mapping[int, int]
    ) -> None:
        """A read that comes before others says since when; what stands now stays as it is.

        `places` gives the place of each read of the machine by key, `next_read` the read after it.
        """
        active = {total.event_id for total in told.report.event_totals if total.active}
        for total in told.report.event_totals:
            row = self._row(told, total)
            if told.place < places.get(row.first_read_id, 0):
                row.first_read_id = told.read_id
        for row in self.events[told.machine_id].values():
            if row.active_since_id is None:
                continue
            since = places.get(row.active_since_id, 0)
            if row.code in active and next_read.get(told.read_id) == row.active_since_id:
                row.active_since_id = told.read_id
            elif row.code not in active and told.place >= since:
                row.active_since_id = next_read[told.read_id]
        self._tell_moments(told)

    def forget(self, machine_id: int, read_id: int, instead: int | None) -> None:
        """A read left its place; `instead` is the one that follows it, else the one before."""
        for row in self.events[machine_id].values():
            if instead is None:
                row.last_read_id = row.first_read_id = 0
                continue
            if row.first_read_id == read_id:
                row.first_read_id = instead
            if row.last_read_id == read_id:
                row.last_read_id = instead
            if row.active_since_id == read_id:
                row.active_since_id = instead

    def write(self) -> None:
        """Write what changed, in one statement, and drop what no read tells any more."""
        rows = [row for events in self.events.values() for row in events.values()]
        gone = [row.pk for row in rows if not row.first_read_id and row.pk]
        if gone:
            MachineEvent.objects.filter(pk__in=gone).delete()
        changed = [
            row
            for row in rows
            if row.first_read_id and self.before.get((row.machine_id, row.code)) != _state(row)
        ]
        MachineEvent.objects.bulk_create(
            changed,
            update_conflicts=True,
            unique_fields=["machine", "code"],
            update_fields=[name.removesuffix("_id") for name in _KEPT],
        )

    def _row(self, told: Told, total: EventTotal) -> MachineEvent:
        events = self.events[told.machine_id]
        row = events.get(total.event_id)
        if row is None or not row.first_read_id:
            row = events[total.event_id] = MachineEvent(
                pk=None if row is None else row.pk,
                machine_id=told.machine_id,
                code=total.event_id,
                base=total.base,
                qualifier=total.qualifier or "",
                is_active=False,
                count_ever=total.count_ever,
                total_minutes=total.total_minutes,
                first_read_id=told.read_id,
                last_read_id=told.read_id,
            )
        return row

    def _tell_moments(self, told: Told) -> None:
        """When each event last happened, by the latest moment that any read has told."""
        for event in told.report.events:
            row = self.events[told.machine_id].get(event.event_id)
            if row is None:
                continue
            at = event.time.at
            if not row.last_text or (at is not None and (row.last_at is None or at > row.last_at)):
                row.last_at, row.last_text = at, time_text(event.time)


def write_occurrences(told: Sequence[Told]) -> None:
    """Each event with its moment, once however many reads tell of it. One statement."""
    rows: dict[tuple[int, str, str], EventOccurrence] = {}
    for one in told:
        for event in one.report.events:
            key = (one.machine_id, event.event_id, time_text(event.time))
            if key not in rows:
                rows[key] = _occurrence(one, event)
    EventOccurrence.objects.bulk_create(rows.values(), ignore_conflicts=True)


def time_text(time: MachineTime) -> str:
    """A machine's time as it was sent."""
    return " ".join(part for part in (time.date_text, time.time_text) if part)[:40]


def _occurrence(told: Told, event: EventRecord) -> EventOccurrence:
    return EventOccurrence(
        machine_id=told.machine_id,
        code=event.event_id,
        base=event.base,
        qualifier=event.qualifier or "",
        happened_text=time_text(event.time),
        happened_at=event.time.at,
        minutes=event.minutes,
        user=event.user or "",
        read_id=told.read_id,
    )


def _state(row: MachineEvent) -> tuple[Any, ...]:
    return tuple(getattr(row, name) for name in _KEPT)
