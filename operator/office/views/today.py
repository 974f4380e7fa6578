"""What is waiting for somebody today."""

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from typing import Any

from django.db.models import F, Max, Q, QuerySet
from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone

from fleet.demand.models import FitRun
from fleet.machines.models import Machine
from fleet.machines.queries.fleet import changeovers_open
from fleet.sales.models import AuditRead, MachineEvent
from fleet.sales.queries.sold import intervals_awaiting_decision
from fleet.sales.queries.waiting import piles
from office import glances
from office.doors import PersonRequest
from office.owed import compliance_owed, money_owed
from people import policy
from people.models import Business
from people.queries import notices_of
from people.roles import Role
from service.compliance.queries.warnings import Warnings, warnings_at
from service.runs.models import DayPlan, LoadLine, Run, Stop
from service.runs.queries import gates
from service.runs.queries.calendar import Calendar
from service.runs.queries.planned import coming
from service.tickets.queries import listing
from service.tickets.queries.gates import tickets_seen_by

SILENT_AFTER = timedelta(days=7)
SHOWN = 15
KEEPS_MONEY = "keep rules, rates and settings of sales tax, and file returns"
LOOKS_AHEAD_DAYS = 10


def page(request: PersonRequest) -> HttpResponse:
    """Reads in the tray, changeovers, machines with events, machines not read for long."""
    if not request.user.has_role(*Role):
        return render(request, "office/today_without_role.html")
    now = timezone.now()
    today = timezone.localdate(now, Business.the().time_zone)
    changeovers = list(changeovers_open()[: SHOWN + 1])
    eventful = list(
        Machine.objects.filter(pk__in=MachineEvent.objects.filter(is_active=True).values("machine"))
        .exclude(status=Machine.Status.RETIRED)
        .order_by("asset_tag", "pk")
    )
    events = glances.active_events(eventful)
    pressing = [
        (machine, events[machine.pk])
        for machine in sorted(eventful, key=lambda one: events[one.pk][0].rank)
    ]
    silent = list(silent_machines(now))
    shown = {*(one.column.machine for one in changeovers), *silent[:SHOWN]}
    places = glances.places({*shown, *(machine for machine, _ in pressing[:SHOWN])})
    decisions = intervals_awaiting_decision().select_related("machine", "to_read")
    heaps = piles(request.user)
    context = {
        "today": today,
        **_told(request),
        **_owed(request, now, today),
        **_runs(request, today),
        **_tickets(request, now),
        "piles": heaps[:SHOWN],
        "more_piles": len(heaps) > SHOWN,
        "tray_count": sum(one.count for one in heaps),
        "decisions": decisions.defer("to_read__raw")[:SHOWN],
        "decision_count": decisions.order_by().count(),
        "changeovers": [(one, places.get(one.column.machine_id)) for one in changeovers[:SHOWN]],
        "more_changeovers": len(changeovers) > SHOWN,
        "pressing": [(one, places.get(one.pk), found) for one, found in pressing[:SHOWN]],
        "pressing_count": len(pressing),
        "silent": [(one, places.get(one.pk)) for one in silent[:SHOWN]],
        "silent_count": len(silent),
        "more_silent": max(0, len(silent) - SHOWN),
        "silent_days": SILENT_AFTER.days,
    }
    return render(request, "office/today.html", context)


def _runs(request: PersonRequest, today: date) -> dict[str, Any]:
    """The runs of today and of the next day that somebody drives, what is short on them, and a
    fit that is under way.

    A driver's own runs only, as the gatekeepers have it.
    """
    ahead = _next_day(today)
    mine = gates.runs_seen_by(request.user).order_by()
    runs = list(coming([today, ahead]).filter(pk__in=mine.values("pk")))
    short = LoadLine.objects.filter(
        run__in=runs, wanted__gt=F("picked") + F("substituted")
    ).select_related("product", "run__vehicle", "stop__machine")
    drives = request.user.has_role(Role.DRIVER)
    return {
        "ahead": ahead,
        "runs": runs,
        "is_driver": drives,
        # Whoever only drives learns here what is locked on the way; the desk has a line of its own.
        "warned": _warned([run for run in runs if run.driver_id == request.user.pk])
        if drives
        else [],
        "short": short.order_by("run", "product__name", "pk")[:SHOWN],
        "fit": FitRun.objects.filter(state=FitRun.State.RUNNING).first(),
        "drafts": sorted(
            DayPlan.objects.filter(date__in=[today, ahead], state=DayPlan.State.DRAFT)
            .exclude(date__in=[run.date for run in runs])
            .order_by()
            .values_list("date", flat=True)
            .distinct()
        ),
    }


def _tickets(request: PersonRequest, now: datetime) -> dict[str, Any]:
    """Open tickets, the most pressing first; how many are late, and how many nobody goes to."""
    seen = tickets_seen_by(request.user)
    found = listing.open_ones(seen)
    pressing = found.order_by("-priority", F("promised_at").asc(nulls_last=True), "pk")
    return {
        "now": now,
        "tickets": pressing[:SHOWN],
        "tickets_open": found.order_by().count(),
        "tickets_late": listing.late(seen, now).order_by().count(),
        "tickets_nobodys": found.filter(given_to__isnull=True).order_by().count(),
    }


def _owed(request: PersonRequest, now: datetime, today: date) -> dict[str, Any]:
    """What waits of money, duties and food, for whoever sees to it."""
    person = request.user
    keeps_money = policy.may(person, KEEPS_MONEY)
    sees = person.has_role(Role.OWNER, Role.DISPATCHER, Role.ACCOUNTANT)
    money = money_owed(now, today) if keeps_money else []
    compliance = compliance_owed(today) if sees else []
    return {
        "keeps_money": keeps_money,
        "money_first": person.has_role(Role.ACCOUNTANT),
        "money_owed": money,
        "sees_compliance": sees,
        "compliance_owed": compliance,
        "owed_late": sum(one.late for one in (*money, *compliance)),
    }


def _warned(runs: Sequence[Run]) -> list[tuple[Machine, Warnings]]:
    """The machines of these runs whose food is locked or where goods are called back."""
    stops = Stop.objects.filter(
        run__in=runs, state__in=[Stop.State.PLANNED, Stop.State.ARRIVED]
    ).select_related("machine")
    machines = {stop.machine_id: stop.machine for stop in stops.order_by("run", "sequence", "pk")}
    found = warnings_at(machines)
    return [(one, found[key]) for key, one in machines.items() if key in found]


def _told(request: PersonRequest) -> dict[str, Any]:
    """What this person was told and has not seen, latest first."""
    told = list(notices_of(request.user).filter(seen_at__isnull=True)[: SHOWN + 1])
    return {"notices": told[:SHOWN], "more_notices": len(told) > SHOWN}


def _next_day(today: date) -> date:
    """The next day on which somebody drives; tomorrow when nobody does for long."""
    days = [today + timedelta(days=number) for number in range(1, LOOKS_AHEAD_DAYS + 1)]
    calendar = Calendar(days[0], days[-1])
    return next((day for day in days if calendar.duty(day).on), days[0])


def silent_machines(now: datetime) -> "QuerySet[Machine]":
    """Machines in service at a site, not read for long or never, the longest first."""
    return (
        Machine.objects.filter(
            status=Machine.Status.IN_SERVICE,
            placements__ends_at__isnull=True,
            placements__site__isnull=False,
        )
        .annotate(
            read_at=Max(
                "audit_reads__taken_at",
                filter=Q(audit_reads__state=AuditRead.State.ACCEPTED),
            )
        )
        .filter(Q(read_at__isnull=True) | Q(read_at__lt=now - SILENT_AFTER))
        .order_by(F("read_at").asc(nulls_first=True), "asset_tag", "pk")
    )
