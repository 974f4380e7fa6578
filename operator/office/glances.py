"""What a line about a machine says at a glance, for many machines in a fixed number of queries."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Max

from fleet.machines.models import Changeover, Machine, Placement
from fleet.sales.models import AuditRead, EventMeaning, MachineEvent
from fleet.sales.queries import events

# The most pressing first.
URGENCY = {
    EventMeaning.Urgency.NOW: 0,
    EventMeaning.Urgency.SOON: 1,
    EventMeaning.Urgency.NEXT_VISIT: 2,
    EventMeaning.Urgency.NONE: 3,
}


@dataclass(frozen=True)
class ActiveEvent:
    """An event that stands now, in plain words."""

    event: MachineEvent
    words: str
    urgency: str

    @property
    def urgency_said(self) -> str:
        return str(EventMeaning.Urgency(self.urgency).label)

    @property
    def rank(self) -> int:
        return URGENCY[EventMeaning.Urgency(self.urgency)]


def active_events(machines: Iterable[Machine]) -> dict[int, list[ActiveEvent]]:
    """What stands now at each machine, the most pressing first. Two queries."""
    found: dict[int, list[ActiveEvent]] = defaultdict(list)
    for one in events.active_events(machine.pk for machine in machines):
        found[one.event.machine_id].append(ActiveEvent(one.event, one.said(), one.meaning.urgency))
    for listed in found.values():
        listed.sort(key=lambda one: one.rank)
    return dict(found)


def last_reads(machines: Iterable[Machine]) -> dict[int, datetime]:
    """When each machine's latest accepted read was taken. One query."""
    rows = (
        AuditRead.objects.filter(
            machine__in=[machine.pk for machine in machines], state=AuditRead.State.ACCEPTED
        )
        .order_by()
        .values_list("machine")
        .annotate(latest=Max("taken_at"))
    )
    return dict(rows)


def places(machines: Iterable[Machine]) -> dict[int, Placement]:
    """Where each machine stands now. One query."""
    rows = Placement.objects.filter(
        machine__in=[machine.pk for machine in machines], ends_at__isnull=True
    ).select_related("site")
    return {row.machine_id: row for row in rows}


def open_changeovers(machines: Iterable[Machine]) -> dict[int, int]:
    """How many changeovers are planned or in hand at each machine. One query."""
    counts: dict[int, int] = defaultdict(int)
    for machine in Changeover.objects.filter(
        column__machine__in=[machine.pk for machine in machines],
        state__in=[Changeover.State.PLANNED, Changeover.State.IN_HAND],
    ).values_list("column__machine", flat=True):
        counts[machine] += 1
    return dict(counts)
