"""What machines report, in plain words."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Q, QuerySet

from fleet.compute.audit.events import meaning_of, qualifier_words
from fleet.machines.models import Machine

from ..models import EventMeaning, EventOccurrence, MachineEvent


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a code means; `known` is False where only its group is known."""

    words: str
    about: str
    urgency: str
    job: str
    known: bool = True


@dataclass(frozen=True, slots=True)
class EventSaid:
    """One event of a machine with its meaning."""

    event: MachineEvent
    meaning: Meaning

    def said(self) -> str:
        """In plain words with what the qualifier adds: "Dispense motor fault, at 12"."""
        where = qualifier_words(self.event.code)
        return f"{self.meaning.words}, {where}" if where else self.meaning.words


class MeaningBook:
    """Every meaning that the business has, by kind and code; one query."""

    def __init__(self) -> None:
        self._by_kind: dict[tuple[int | None, str], Meaning] = {
            (row.kind_id, row.base): Meaning(row.words, row.about, row.urgency, row.job)
            for row in EventMeaning.objects.order_by("pk")
        }

    def of(self, code: str, base: str, kind_id: int) -> Meaning:
        """The kind's own meaning of a code, else the general one, else what its letters tell."""
        found = self._by_kind.get((kind_id, base)) or self._by_kind.get((None, base))
        if found is not None:
            return found
        told = meaning_of(code)
        return Meaning(told.words, told.about, told.urgency, told.job, known=told.known)


def events_of(machine: Machine) -> list[EventSaid]:
    """Every event code that a machine has reported, active ones first. Two queries."""
    return _said(MachineEvent.objects.filter(machine=machine))


def active_events(machine_ids: Iterable[int] | None = None) -> list[EventSaid]:
    """What stands now, at each machine's latest read, of some machines or of all. Two queries."""
    rows = MachineEvent.objects.filter(is_active=True)
    if machine_ids is not None:
        rows = rows.filter(machine__in=list(machine_ids))
    return _said(rows)


def occurrences_of(machine: Machine) -> "QuerySet[EventOccurrence]":
    """What happened at a machine and when by its own clock, latest first."""
    return (
        EventOccurrence.objects.filter(machine=machine)
        .select_related("read")
        .defer("read__raw")
        .order_by("-happened_at", "-pk")
    )


def meanings_listed(search: str = "") -> "QuerySet[EventMeaning]":
    """Every meaning, or those whose code or words hold the text."""
    rows = EventMeaning.objects.select_related("kind").order_by("base", "kind__name", "pk")
    if search:
        rows = rows.filter(Q(base__istartswith=search) | Q(words__icontains=search))
    return rows


def _said(rows: "QuerySet[MachineEvent]") -> list[EventSaid]:
    book = MeaningBook()
    found = (
        rows.select_related("machine", "active_since", "last_read")
        .defer("active_since__raw", "last_read__raw")
        .order_by("machine__asset_tag", "-is_active", "code", "pk")
    )
    return [EventSaid(row, book.of(row.code, row.base, row.machine.kind_id)) for row in found]
