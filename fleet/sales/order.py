"""The place of each read among the reads of its machine, without reading old files again.

Order rests on a few of a read's own words, which its row keeps. A new read that plainly comes last
is appended; anything else has the whole machine lined up anew, from those words alone.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from typing import Final

from fleet.compute.intervals.drift import (
    DISTRUST_AFTER,
    ClockState,
    Drift,
    KnownBy,
    Moment,
    clock_instant,
)
from fleet.compute.intervals.figures import total_counters
from fleet.compute.intervals.moments import moments_of
from fleet.compute.intervals.order import Place, PlacedBy, places
from fleet.compute.intervals.snapshot import Snapshot

from .models import AuditRead

#: Columns of a read from which it can be placed; no need to fetch its bytes.
ORDER_FIELDS: Final = (
    "pk",
    "machine_id",
    "sha256",
    "block_sha256",
    "received_at",
    "clock_at",
    "clock_follows_summer_time",
    "this_read_at",
    "initialised_at",
    "reads_counter",
    "paid_count",
    "paid_minor",
    "serial_read",
    "board_serial_read",
    "place",
    "placed_by",
    "epoch",
    "is_late",
    "taken_at",
    "taken_known_by",
    "clock_state",
    "drift_s",
    "drift_said",
    "bound_at",
    "doubtful_at",
)


@dataclass(frozen=True, slots=True)
class Standing:
    """Where one read stands: its place (from 1), why, and when it was taken.

    `bound_at` and `doubtful_at` run along the places: the latest receipt or believed clock so far,
    and the latest receipt so far of a read that its clock alone did not place.
    """

    key: str
    place: int
    epoch: int
    placed_by: str
    why: str
    is_late: bool
    moment: Moment
    bound_at: datetime
    doubtful_at: datetime | None

    def columns(self) -> dict[str, object]:
        """As the read's row keeps it."""
        return {
            "place": self.place,
            "epoch": self.epoch,
            "placed_by": self.placed_by,
            "placed_why": self.why,
            "is_late": self.is_late,
            "taken_at": self.moment.at,
            "taken_known_by": self.moment.known_by.value,
            "clock_state": self.moment.drift.state.value,
            "drift_s": self.moment.drift.drift_s,
            "drift_said": self.moment.drift.text,
            "bound_at": self.bound_at,
            "doubtful_at": self.doubtful_at,
        }


#: Of a read that leaves its place.
NOWHERE: Final[dict[str, object]] = {
    "place": None,
    "epoch": None,
    "placed_by": "",
    "placed_why": "",
    "is_late": False,
    "taken_at": None,
    "taken_known_by": "",
    "clock_state": "",
    "drift_s": None,
    "drift_said": "",
    "bound_at": None,
    "doubtful_at": None,
}


def words_of(read: AuditRead) -> Snapshot:
    """A stored read reduced to the words that order it."""
    return Snapshot(
        key=read.sha256,
        received_at=read.received_at,
        machine_clock=read.clock_at,
        clock_follows_summer_time=read.clock_follows_summer_time,
        reads_counter=read.reads_counter,
        this_read_at=read.this_read_at,
        initialised_at=read.initialised_at,
        board_serial=read.board_serial_read or None,
        machine_serial=read.serial_read or None,
        block_sha256=read.block_sha256,
        totals=total_counters(paid_count=read.paid_count, paid_value_minor=read.paid_minor),
    )


def moment_kept(read: AuditRead) -> Moment:
    """When a stored read was taken, as its row has it."""
    if read.taken_at is None:
        raise ValueError(f"{read} has no place, so its moment is not known")
    drift = Drift(ClockState(read.clock_state), read.drift_s, read.drift_said)
    return Moment(read.taken_at, KnownBy(read.taken_known_by), drift)


def line_up(reads: Iterable[Snapshot], zone: tzinfo) -> tuple[Standing, ...]:
    """All reads of one machine in their places. No two of them may repeat each other."""
    placed = places(reads, zone)
    repeated = [place for place in placed if place.duplicate_of is not None]
    if repeated:
        first = repeated[0]
        raise ValueError(f"read {first.snapshot.key} repeats read {first.duplicate_of}")
    return _standings(placed, moments_of(placed, zone), zone)


def append(tail: AuditRead, reads: Sequence[Snapshot], zone: tzinfo) -> tuple[Standing, ...] | None:
    """The places of new reads behind the last one, or None where they might belong elsewhere.

    They plainly come last, and leave every other read where it stands, if each has a believable
    clock past every receipt and believable clock so far, and the last one is placed by a clock
    past the receipt of every read that is not.
    """
    if tail.place is None or tail.bound_at is None or tail.taken_at is None:
        raise ValueError(f"{tail} has no place to append to")
    last = words_of(tail)
    last_clock = clock_instant(last, zone)
    if tail.placed_by != PlacedBy.CLOCK or last_clock is None or tail.epoch is None:
        return None
    if tail.clock_state == ClockState.DISTRUSTED:
        return None  # beside what comes now its clock may turn out to be right, and the file late
    if tail.doubtful_at is not None and last_clock <= tail.doubtful_at:
        return None
    bound = tail.bound_at
    timed = [
        (clock_instant(read, zone) or datetime.max.replace(tzinfo=UTC), read) for read in reads
    ]
    timed.sort(key=lambda pair: pair[0])
    for clock, read in timed:
        if abs(read.received_at - clock) > DISTRUST_AFTER:
            return None
        if clock <= bound or read.received_at < bound:
            return None
        bound = max(clock, read.received_at)
    placed = places((last, *(read for _, read in timed)), zone)
    if any(place.duplicate_of is not None for place in placed):
        return None
    # The last one's epoch and moment are known from all that went before it.
    moments = [moment_kept(tail), *moments_of(placed, zone)[1:]]
    standings = _standings(
        placed,
        moments,
        zone,
        first_place=tail.place,
        first_epoch=tail.epoch,
        bound_at=tail.bound_at,
        doubtful_at=tail.doubtful_at,
    )
    return standings[1:]


def _standings(
    placed: Sequence[Place],
    moments: Sequence[Moment],
    zone: tzinfo,
    *,
    first_place: int = 1,
    first_epoch: int = 1,
    bound_at: datetime | None = None,
    doubtful_at: datetime | None = None,
) -> tuple[Standing, ...]:
    standings = []
    for index, (place, moment) in enumerate(zip(placed, moments, strict=True)):
        read = place.snapshot
        reach = _reach(read, zone)
        bound_at = reach if bound_at is None else max(bound_at, reach)
        if place.placed_by is not PlacedBy.CLOCK:
            received = read.received_at
            doubtful_at = received if doubtful_at is None else max(doubtful_at, received)
        standings.append(
            Standing(
                key=read.key,
                place=first_place + index,
                epoch=first_epoch + place.epoch - 1,
                placed_by=place.placed_by.value,
                why=place.reason,
                is_late=place.late,
                moment=moment,
                bound_at=bound_at,
                doubtful_at=doubtful_at,
            )
        )
    return tuple(standings)


def _reach(read: Snapshot, zone: tzinfo) -> datetime:
    """The later of a read's receipt and, if it is no more than a day ahead, its clock."""
    clock = clock_instant(read, zone)
    if clock is None or clock - read.received_at > DISTRUST_AFTER:
        return read.received_at
    return max(clock, read.received_at)


def second_key(read: Snapshot) -> tuple[object, ...] | None:
    """What two copies of one read share by whatever way they came; None where too little is sent.

    The moment of the read (EA302/303), the number of reads (EA309) and the paid vends (VA101/102).
    """
    count, value = read.total("paid_count"), read.total("paid_value_minor")
    if read.this_read_at is None or read.reads_counter is None or count is None:
        return None
    return read.this_read_at, read.reads_counter, count, value, read.board_serial
