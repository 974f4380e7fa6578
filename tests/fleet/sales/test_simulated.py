"""Weeks of simulated machines read in: what is told against what truly happened.

Ten machines with the troubles that files have: a board swapped, a counter that rolls over, a late
file, a damaged one, one cut short, one sent twice, no asset number, other line ends, two columns
behind one button. An eleventh, which stands in no record, sends files like the tenth's.
"""

from collections import Counter
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime

import pytest

from demo.books import Books
from demo.business import marrowby
from demo.business.machines import asset_tag
from demo.simulator import Simulated, simulate_with_truth
from fleet.sales.actions.receive import Outcome, ReceivedFile, receive
from fleet.sales.models import AuditRead, MachineInterval
from tests.fleet.sales.helpers import faults

UNTIL = date(2026, 3, 1)
NOW = datetime(2026, 3, 1, 12, tzinfo=UTC)
SWAPPED = asset_tag("S07", "C")
LATE = asset_tag("S04", "C")
TWIN = asset_tag("S16", "B")
TAGS = (
    SWAPPED,
    LATE,
    TWIN,
    asset_tag("S11", "A"),
    asset_tag("S03", "A"),
    asset_tag("S05", "B"),
    asset_tag("S09", "C"),
    asset_tag("S24", "A"),
    asset_tag("S08", "A"),
    asset_tag("S39", "A"),
)


@dataclass(frozen=True)
class Read:
    """The simulated weeks and what became of each file."""

    simulated: Simulated
    outcomes: dict[str, list[Outcome]]


@pytest.fixture(scope="module")
def simulated() -> Simulated:
    whole = marrowby(UNTIL)
    return simulate_with_truth(_part(whole), UNTIL, weeks=5)


@pytest.fixture
def read(db: None, simulated: Simulated) -> Read:
    Books(_part(marrowby(UNTIL)), NOW).write()
    outcomes: dict[str, list[Outcome]] = {}
    files = list(simulated.files)
    for start in range(0, len(files), 60):
        batch = files[start : start + 60]
        received = receive(
            files=[ReceivedFile(file.name, file.data, file.delivered_at) for file in batch],
            source="folder",
            actor=None,
            now=NOW,
        )
        for file, outcome in zip(batch, received, strict=True):
            outcomes.setdefault(file.machine_tag, []).append(outcome)
    return Read(simulated, outcomes)


def _part(whole):  # type: ignore[no-untyped-def]
    return replace(
        whole,
        machines=tuple(machine for machine in whole.machines if machine.asset_tag in TAGS),
        set_ups=tuple(set_up for set_up in whole.set_ups if set_up.asset_tag in TAGS),
    )


def test_weeks_of_files_tell_what_was_truly_sold(read: Read) -> None:
    results = Counter(o.result.value for tag in TAGS for o in read.outcomes[tag])
    # One damaged, one cut short, one sent twice; the stranger's files stand under its own tag.
    assert (results["waiting"], results["duplicate"], results["unreadable"]) == (2, 1, 0)
    intervals = list(
        MachineInterval.objects.select_related("machine", "from_read", "to_read").order_by("pk")
    )
    assert len(intervals) == results["accepted"] - len(TAGS)
    assert not faults(intervals)
    _against_the_truth(read, intervals)
    _the_swap_waits(intervals)
    _the_late_file_stands_in_its_place()
    _the_twin_shares_its_buttons(intervals)


def _against_the_truth(read: Read, intervals: list[MachineInterval]) -> None:
    written = {file.name: file.written_at for file in read.simulated.files}
    for interval in intervals:
        if interval.awaits_decision:
            continue
        tag = interval.machine.asset_tag
        vends = read.simulated.truth[tag].between(
            written[interval.from_read.name], written[interval.to_read.name]
        )
        paid = Counter(vend.selection for vend in vends if vend.how == "paid")
        free = sum(vend.how == "free" for vend in vends)
        money = sum(vend.price_minor for vend in vends if vend.how == "paid")
        told: Counter[str] = Counter()
        for line in interval.lines.all():
            told[line.selection_code] += line.paid_units or 0
        assert +told == paid, f"{interval}: {told} told, {paid} sold"
        assert (interval.paid_units, interval.paid_minor) == (paid.total(), money)
        assert interval.free_units in (free, None)


def _the_swap_waits(intervals: list[MachineInterval]) -> None:
    waiting = [interval for interval in intervals if interval.awaits_decision]
    assert [interval.machine.asset_tag for interval in waiting] == [SWAPPED]
    assert waiting[0].paid_units is None
    assert waiting[0].why_not


def _the_late_file_stands_in_its_place() -> None:
    late = AuditRead.objects.get(machine__asset_tag=LATE, is_late=True)
    neighbours = AuditRead.objects.filter(
        machine__asset_tag=LATE, place__in=(late.place - 1, late.place + 1)
    ).order_by("place")
    before, after = neighbours
    assert before.taken_at < late.taken_at < after.taken_at
    assert after.received_at < late.received_at


def _the_twin_shares_its_buttons(intervals: list[MachineInterval]) -> None:
    shared = [
        line
        for interval in intervals
        if interval.machine.asset_tag == TWIN
        for line in interval.lines.filter(selection_code__in=("1", "2", "3", "4"))
    ]
    assert shared
    assert all(line.is_share and line.column_id and line.share_said for line in shared)
