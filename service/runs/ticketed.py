"""What open tickets ask of a day's runs: to go there, the time at the machine, a skill."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Q

from people.models import Business
from service.tickets.models import Ticket

State = Ticket.State


@dataclass(frozen=True)
class Asked:
    """The tickets that a visit on a day would see to."""

    tickets: tuple[Ticket, ...] = ()

    @property
    def minutes(self) -> int:
        return sum(one.symptom.work_minutes for one in self.tickets)

    @property
    def skills(self) -> tuple[str, ...]:
        return tuple(sorted({one.symptom.needs_skill for one in self.tickets} - {""}))

    @property
    def keys(self) -> tuple[int, ...]:
        return tuple(one.pk for one in self.tickets)

    def must(self, next_chance: date) -> tuple[str, ...]:
        """Why the day may not pass without a visit, one reason a ticket."""
        return tuple(said(one) for one in self.tickets if _cannot_wait(one, next_chance))


NONE = Asked()


def said(ticket: Ticket) -> str:
    """A ticket in a line: `Ticket 7Q2M4K1B: warm, promised by Tue 3 Mar 2026, 17:00.`"""
    words = f"Ticket {ticket.reference}: {ticket.symptom.words}"
    if ticket.promised_at is None:
        return f"{words}."
    return f"{words}, promised by {moment_said(ticket, ticket.promised_at)}."


def moment_said(ticket: Ticket, moment: datetime) -> str:
    """A moment where the machine stands."""
    zone = Business.the().time_zone if ticket.site is None else ticket.site.time_zone
    local = moment.astimezone(zone)
    return f"{local:%a} {local.day} {local:%b %Y}, {local:%H:%M}"


def span_said(minutes: int) -> str:
    """So many minutes, as a person would say it: `34 min`, `5 h 12 min`, `3 d 4 h`."""
    if minutes < 60:
        return f"{minutes} min"
    if minutes < 24 * 60:
        return f"{minutes // 60} h {minutes % 60:02d} min"
    days, hours = minutes // (24 * 60), minutes % (24 * 60) // 60
    return f"{days} d {hours} h" if hours else f"{days} d"


def asked_of(machines: Iterable[int], day: date, *, giving_way: bool = True) -> dict[int, Asked]:
    """The open tickets of machines that a plan of a day sees to. One query.

    Those that nobody has, and (`giving_way`) those on the runs of that day's plan, which a new plan
    would take the place of. What waits for something, or is in somebody's hands, is left out.
    """
    of_day = Q(
        ticket_stop__stop__run__date=day,
        ticket_stop__stop__run__plan__isnull=False,
        ticket_stop__stop__state="planned",
        state=State.GIVEN,
    )
    wanted = Q(state=State.NEW) | of_day if giving_way else Q(state=State.NEW)
    rows = (
        Ticket.objects.filter(wanted, machine__in=list(machines))
        .select_related("symptom", "site")
        .order_by("machine", "promised_at", "pk")
    )
    found: dict[int, list[Ticket]] = defaultdict(list)
    for one in rows:
        found[one.machine_id].append(one)
    return {machine: Asked(tuple(several)) for machine, several in found.items()}


def reasons(tickets: Sequence[Ticket]) -> list[dict[str, object]]:
    """Why a stop is on a run, where it is there for tickets."""
    return [{"code": "ticket", "said": said(one), "tickets": [one.pk]} for one in tickets]


def _cannot_wait(ticket: Ticket, next_chance: date) -> bool:
    """Whether the next chance to visit after this one would come too late."""
    if ticket.urgency == Ticket.Urgency.DOWN or ticket.priority == Ticket.Priority.FIRST:
        return True
    if ticket.promised_at is None:
        return False
    zone = Business.the().time_zone if ticket.site is None else ticket.site.time_zone
    return ticket.promised_at.astimezone(zone).date() < next_chance
