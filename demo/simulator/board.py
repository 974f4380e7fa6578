"""The control board: vends by selection and payment, events, and who has read it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from demo.simulator.tallies import Sold, Tally

CASH_LINE = "CA"
CASHLESS_LINE = "DA"

# The board remembers this many single events.
EVENTS_KEPT = 8


class EventTally:
    """One event's totals. `active_from` is by the machine's clock while the event stands."""

    __slots__ = ("active_from", "minutes", "times")

    def __init__(self) -> None:
        self.times = Tally()
        self.minutes = 0
        self.active_from: datetime | None = None


@dataclass(frozen=True)
class EventRecord:
    event_id: str
    at: datetime
    minutes: int


class SoldOutMark:
    """A selection marked sold out, since when, and how often it was asked for since a reset."""

    __slots__ = ("asked", "at")

    def __init__(self, at: datetime) -> None:
        self.at = at
        self.asked = 0


class ControlBoard:
    """All counters that live and die with the board. Times are by the machine's clock."""

    def __init__(self, serial: str, initialised_at: datetime, buttons: Iterable[str]) -> None:
        self.serial = serial
        self.initialised_at = initialised_at
        self.prices_set_at = initialised_at
        self.serviced_at = initialised_at
        codes = tuple(buttons)
        # By selection: what was sold by device, price list and the price that was applied.
        self.paid: dict[str, dict[tuple[str, int, int], Sold]] = {code: {} for code in codes}
        self.discounts = {code: Sold() for code in codes}
        self.tested = {code: Sold() for code in codes}
        self.free = {code: Sold() for code in codes}
        self.sold_out: dict[str, SoldOutMark] = {}
        self.last_sold_out: dict[str, SoldOutMark] = {}
        self.events: dict[str, EventTally] = {}
        self.records: list[EventRecord] = []
        self.reads = 0
        self.reads_with_reset = 0
        self.resets = 0
        self.power_outages = Tally()
        self.last_read: tuple[datetime, str] | None = None

    def book_paid(self, code: str, device: str, price_list: int, price_minor: int) -> None:
        lines = self.paid[code]
        key = (device, price_list, price_minor)
        if key not in lines:
            lines[key] = Sold()
        lines[key].add(price_minor)

    def mark_sold_out(self, code: str, at: datetime) -> None:
        if code not in self.sold_out:
            self.sold_out[code] = self.last_sold_out[code] = SoldOutMark(at)
            self.begin(f"ELB_{code}", at)

    def clear_sold_out(self, at: datetime) -> None:
        for code in self.sold_out:
            self.end(f"ELB_{code}", at)
        self.sold_out.clear()

    def begin(self, event_id: str, at: datetime) -> None:
        """An event starts to stand; one that stands already is not counted twice."""
        event = self.events.setdefault(event_id, EventTally())
        if event.active_from is None:
            event.active_from = at
            event.times.add(1)
            self._record(EventRecord(event_id, at, 0))

    def note(self, event_id: str, at: datetime, minutes: int) -> None:
        """An event that was over when the board could write it down."""
        event = self.events.setdefault(event_id, EventTally())
        event.times.add(1)
        event.minutes += minutes
        self._record(EventRecord(event_id, at, minutes))

    def end(self, event_id: str, at: datetime) -> None:
        event = self.events.get(event_id)
        if event is None or event.active_from is None:
            return
        minutes = max(0, int((at - event.active_from).total_seconds() // 60))
        event.minutes += minutes
        event.active_from = None
        self._record(EventRecord(event_id, at, minutes))

    def read(self, at: datetime, reader: str, *, reset: bool) -> tuple[datetime, str] | None:
        """Count a read and return the one before it. The caller resets after it has written."""
        self.reads += 1
        if reset:
            self.reads_with_reset += 1
            self.resets += 1
        before, self.last_read = self.last_read, (at, reader)
        return before

    def reset(self) -> None:
        for lines in self.paid.values():
            for sold in lines.values():
                sold.reset()
        for group in (self.discounts, self.tested, self.free):
            for sold in group.values():
                sold.reset()
        for event in self.events.values():
            event.times.reset()
        for mark in self.last_sold_out.values():
            mark.asked = 0
        self.power_outages.reset()

    def _record(self, record: EventRecord) -> None:
        self.records.append(record)
        del self.records[:-EVENTS_KEPT]


def total(parts: Iterable[Sold]) -> Sold:
    """The sum of several, ever and since the last reset."""
    summed = Sold()
    for part in parts:
        summed.count.ever += part.count.ever
        summed.count.since += part.count.since
        summed.value.ever += part.value.ever
        summed.value.since += part.value.since
    return summed
