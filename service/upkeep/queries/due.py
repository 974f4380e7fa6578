"""Due work as lists show it, and as others ask for it."""

from collections.abc import Iterable
from datetime import date, timedelta
from typing import Any

from django.db.models import Prefetch, Q, QuerySet

from fleet.machines.models import Machine
from fleet.machines.queries.fleet import placements_now
from people.models import Person

from ..models import DueWork, MaintenanceDone, Reading
from .gates import done_whole


def turns_whole() -> "QuerySet[DueWork]":
    """Turns of every state with all that a list shows; each machine with where it stands now."""
    return DueWork.objects.select_related(
        "plan__responsible", "machine__kind", "given_to"
    ).prefetch_related(
        Prefetch("machine__placements", queryset=placements_now(), to_attr="placements_now")
    )


def open_turns() -> "QuerySet[DueWork]":
    """Open turns by their day."""
    turns = turns_whole().filter(state=DueWork.State.OPEN)
    return turns.order_by("day", "machine__asset_tag", "plan__name", "pk")


def turns_listed(
    *,
    until: date | None = None,
    since: date | None = None,
    plan: int | None = None,
    kind: int | None = None,
    machine: int | None = None,
    given_to: Person | None = None,
    unassigned: bool = False,
    search: str = "",
) -> "QuerySet[DueWork]":
    """Open turns whose day lies in `[since, until]`; filters add up.

    `given_to` finds what is given to a person, or by the plan is that person's.
    """
    turns = open_turns()
    if until is not None:
        turns = turns.filter(day__lte=until)
    if since is not None:
        turns = turns.filter(day__gte=since)
    if plan is not None:
        turns = turns.filter(plan=plan)
    if kind is not None:
        turns = turns.filter(machine__kind=kind)
    if machine is not None:
        turns = turns.filter(machine=machine)
    if given_to is not None:
        turns = turns.filter(whose(given_to))
    if unassigned:
        turns = turns.filter(given_to__isnull=True, plan__responsible__isnull=True)
    if search:
        at_site = Machine.objects.filter(
            placements__ends_at__isnull=True, placements__site__name__icontains=search
        )
        turns = turns.filter(
            Q(machine__asset_tag__icontains=search)
            | Q(plan__name__icontains=search)
            | Q(machine__in=at_site)
        )
    return turns


def whose(person: Person) -> Q:
    """Given to a person, or by its plan that person's and given to nobody else."""
    return Q(given_to=person) | Q(given_to__isnull=True, plan__responsible=person)


def near(machines: Iterable[int], day: date) -> dict[int, list[DueWork]]:
    """The turns that work on a day at these machines counts for, by machine: late ones, and those
    due within their plan's notice after `day`. One query."""
    found: dict[int, list[DueWork]] = {}
    turns = (
        DueWork.objects.filter(state=DueWork.State.OPEN, machine__in=list(machines))
        .filter(day__lte=day + timedelta(days=365))
        .select_related("plan", "given_to")
        .order_by("machine", "day", "plan__name", "pk")
    )
    for turn in turns:
        if turn.day <= day + timedelta(days=turn.plan.notice_days):
            found.setdefault(turn.machine_id, []).append(turn)
    return found


def turns_of(machine: Machine) -> "QuerySet[DueWork]":
    return open_turns().filter(machine=machine)


def work_of(machine: Machine) -> "QuerySet[MaintenanceDone]":
    """What was done at a machine, latest first."""
    return done_whole().filter(machine=machine).order_by("-done_at", "-pk")


def readings_of(machine: Machine) -> "QuerySet[Reading]":
    """Readings taken at a machine, latest first."""
    return (
        Reading.objects.filter(machine=machine)
        .select_related("by", "done__plan")
        .order_by("-taken_at", "-pk")
    )


def counts(today: date, person: Person | None = None) -> dict[str, int]:
    """How many open turns are late, due within a week, and due within four; of all or of one."""
    turns: QuerySet[Any] = DueWork.objects.filter(state=DueWork.State.OPEN)
    if person is not None:
        turns = turns.filter(whose(person))
    days = turns.filter(day__lte=today + timedelta(days=28))
    found = {"late": 0, "week": 0, "month": 0}
    for day in days.values_list("day", flat=True):
        if day < today:
            found["late"] += 1
        elif day <= today + timedelta(days=7):
            found["week"] += 1
        else:
            found["month"] += 1
    return found
