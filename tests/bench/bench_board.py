"""The dispatcher's board with 500 open tickets and 30 drivers, beside a bare page of the same rows.

Run by name: `pytest tests/bench/bench_board.py -m bench -n 0 -s`. The bare page asks for the same
rows in as few queries and writes their plain columns through a template; the bare assignment reads
and writes the same rows. Both run in turns with ours in the same process; p95 of milliseconds of
the processor (of both the service and this test: it is one process), as machines are busy.
"""

from collections.abc import Callable
from datetime import timedelta
from time import perf_counter, process_time
from typing import Any

import pytest
from django.db import transaction
from django.template import engines
from django.test import Client
from django.utils import timezone

from people.models import AuditEntry, Business, Person
from people.roles import Role
from service.runs.actions import byhand, offers
from service.runs.models import Run, Stop, TicketStop
from service.tickets.models import Symptom, Ticket, TicketEvent
from tests.cast import join
from tests.service.runs.dispatchwork import DispatchWork, dispatchwork, spread
from tests.world import World

DRIVERS, STOPS, TICKETS = 30, 12, 500
ALONE = 60
"""Machines with tickets that are on no run."""
TIMES = 20
MOST_TIMES_BARE = 3.0
BARE = """<!doctype html><html><body><table>{% for t in tickets %}<tr><td>{{ t.reference }}</td>
<td>{{ t.machine.asset_tag }}</td><td>{{ t.symptom.words }}</td><td>{{ t.site.name }}</td>
<td>{{ t.get_urgency_display }}</td><td>{{ t.get_state_display }}</td><td>{{ t.promised_at }}</td>
<td>{{ t.given_to.name }}</td></tr>{% endfor %}</table>{% for run in runs %}
<h2>{{ run.driver.name }} {{ run.vehicle.name }} {{ run.planned_end }}</h2>
<ol>{% for s in run.stops.all %}<li>
{{ s.machine.asset_tag }} {{ s.site.name }} {{ s.planned_arrive }} {{ s.planned_leave }}
{{ s.get_state_display }}</li>{% endfor %}</ol>{% endfor %}</body></html>"""


@pytest.fixture
def busy(world: World, driver: Person, dispatcher: Person) -> DispatchWork:
    """30 drivers with 12 stops each, 500 open tickets, a good part of them given."""
    now = timezone.now()
    today = timezone.localdate(now, Business.the().time_zone)
    monday = today + timedelta(days=7 - today.weekday())
    others = [join(f"Driver{n} Longroad", Role.DRIVER) for n in range(2, DRIVERS + 1)]
    work = dispatchwork(
        world, dispatcher, driver, day=monday, now=now, others=others, machines=STOPS, each=0
    )
    machines = [*work.machines, *spread(world, work, DRIVERS * STOPS - STOPS + ALONE)]
    for number, profile in enumerate(work.profiles):
        chosen = machines[number * STOPS : (number + 1) * STOPS]
        work.runs.append(
            byhand.add_run(date=monday, driver=profile, machines=chosen, actor=dispatcher, now=now)
        )
    symptoms = list(Symptom.objects.order_by("pk"))
    alone = machines[DRIVERS * STOPS :]
    for number in range(TICKETS):
        machine = alone[number % ALONE] if number % 3 else machines[number % (DRIVERS * STOPS)]
        code = symptoms[(number // ALONE) % len(symptoms)].code
        work.ticket(machine, code, now=now - timedelta(minutes=number))
    for ticket in Ticket.objects.order_by("pk")[: TICKETS // 5]:
        stop = Stop.objects.filter(machine=ticket.machine_id).select_related("run").first()
        if stop is not None:
            work.assign(ticket, stop.run)
    return work


def p95(times: list[float]) -> float:
    return sorted(times)[int(0.95 * (len(times) - 1))]


def in_turns(*calls: Callable[[], Any]) -> list[tuple[float, float]]:
    """p95 of each call, of the processor's and of the clock's milliseconds."""
    for call in calls:
        call()
    spent: list[list[tuple[float, float]]] = [[] for _ in calls]
    for _ in range(TIMES):
        for number, call in enumerate(calls):
            began, clock = process_time(), perf_counter()
            call()
            spent[number].append(((process_time() - began) * 1000, (perf_counter() - clock) * 1000))
    return [(p95([a for a, _ in one]), p95([b for _, b in one])) for one in spent]


def bare_page(work: DispatchWork) -> str:
    tickets = (
        Ticket.objects.filter(state__in=Ticket.OPEN)
        .select_related("machine", "symptom", "site", "given_to")
        .order_by("promised_at", "pk")
    )
    runs = (
        Run.objects.filter(date=work.day, agreed=True)
        .select_related("driver", "vehicle")
        .prefetch_related("stops__machine", "stops__site")
        .order_by("driver__name", "pk")
    )
    return engines["django"].from_string(BARE).render({"tickets": tickets, "runs": runs})


def bare_assignment(work: DispatchWork, ticket: Ticket, run: Run) -> None:
    """The rows that an assignment reads and writes, without a thought: a stop behind the others,
    their times written anew, the ticket given, its event and the two entries of the trail."""
    with transaction.atomic():
        held = Ticket.objects.select_for_update(of=("self",)).get(pk=ticket.pk)
        stops = list(
            Stop.objects.select_for_update(of=("self",))
            .select_related("machine", "site")
            .filter(run=run)
            .order_by("sequence")
        )
        new = Stop.objects.create(
            run=run,
            sequence=len(stops) + 1,
            machine=held.machine,
            site=held.site,
            planned_arrive=run.planned_end,
            planned_leave=run.planned_end,
            service_minutes=30,
        )
        for stop in stops:
            stop.save(update_fields=["planned_arrive", "planned_leave", "updated_at"])
        run.save(update_fields=["planned_end", "planned_metres", "updated_at"])
        TicketStop.objects.create(ticket=held, stop=new, minutes=30, put_at=work.now)
        held.state, held.given_to, held.version = "given", run.driver, held.version + 1
        held.save(update_fields=["state", "given_to", "version", "updated_at"])
        TicketEvent.objects.create(
            ticket=held, at=work.now, recorded_at=work.now, actor=work.dispatcher, verb="give"
        )
        for row in (held, run):
            AuditEntry.objects.create(
                at=work.now,
                actor=work.dispatcher,
                verb="give",
                object_type=row._meta.label,
                object_id=row.pk,
                object_said=str(row),
            )
        transaction.set_rollback(True)


@pytest.mark.bench
def test_the_board_is_about_as_quick_as_a_bare_page(
    busy: DispatchWork, desk: Callable[[Person], Client]
) -> None:
    client = desk(busy.dispatcher)
    address = f"/board/?day={busy.day}&show=open"

    def ours() -> None:
        assert client.get(address, headers={"HX-Request": "true"}).status_code == 200

    def digest() -> None:
        assert client.get(f"/board/digest/?day={busy.day}&since=1").status_code == 200

    (page, page_clock), (bare, bare_clock), (asked, asked_clock) = in_turns(
        ours, lambda: bare_page(busy), digest
    )
    shown = client.get(address).content.decode().count('class="ticket ')
    print(
        f"\nboard of {shown} tickets and {DRIVERS} drivers: {page:.0f} ms ({page_clock:.0f} by the"
        f" clock), bare {bare:.0f} ({bare_clock:.0f}): {page / bare:.1f} times;"
        f" is it as it was: {asked:.0f} ms ({asked_clock:.0f})"
    )
    assert shown >= TICKETS
    assert page <= MOST_TIMES_BARE * bare


@pytest.mark.bench
def test_an_assignment_is_about_as_quick_as_bare_writes(busy: DispatchWork) -> None:
    tickets = list(
        Ticket.objects.filter(ticket_stop__isnull=True, machine__stops__isnull=True).select_related(
            "machine", "symptom", "site"
        )
    )
    runs = list(Run.objects.select_related("driver", "vehicle").order_by("pk"))
    turn = iter(range(10_000))

    def ours() -> None:
        number = next(turn)
        with transaction.atomic():
            busy.assign(tickets[number % len(tickets)], runs[number % DRIVERS])
            transaction.set_rollback(True)

    def bare() -> None:
        number = next(turn)
        bare_assignment(busy, tickets[number % len(tickets)], runs[number % DRIVERS])

    def offered() -> None:
        ticket = tickets[next(turn) % len(tickets)]
        found = offers.preview(ticket=ticket, day=busy.day, now=busy.now)
        assert len(found.offers) == DRIVERS

    (given, given_clock), (plain, plain_clock), (asked, asked_clock) = in_turns(ours, bare, offered)
    print(
        f"\nassigning: {given:.0f} ms ({given_clock:.0f} by the clock), bare {plain:.0f}"
        f" ({plain_clock:.0f}): {given / plain:.1f} times by the processor,"
        f" {given_clock / plain_clock:.1f} by the clock; offers of {DRIVERS} drivers"
        f" {asked:.0f} ms ({asked_clock:.0f})"
    )
    assert given <= MOST_TIMES_BARE * plain
