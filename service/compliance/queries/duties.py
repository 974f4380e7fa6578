"""Duties as lists show them, and as others ask for them."""

from datetime import date, timedelta
from typing import Final

from django.db.models import Exists, OuterRef, Prefetch, Q, QuerySet

from fleet.machines.models import Machine
from people.models import Person
from people.roles import Role

from ..models import Duty, DutyDone, DutyRule
from .subjects import Subjects

SOON_DAYS: Final = 30
AHEAD: Final = timedelta(days=400)
"""A calendar shows a little more than a year: most duties come once in it."""
MOST_SHOWN: Final = 2000


def duties_whole() -> "QuerySet[Duty]":
    """Duties of every state with all that a list shows."""
    return Duty.objects.select_related("rule", "site", "machine__kind", "owner").prefetch_related(
        Prefetch("done", queryset=done_whole())
    )


def done_whole() -> "QuerySet[DutyDone]":
    return (
        DutyDone.objects.select_related("duty", "evidence", "by", "set_aside_by")
        .defer("evidence__raw")
        .order_by("-done_on", "-pk")
    )


def seen_to_by(person: Person) -> Q:
    """What a person sees to: what is given to them, and to the owners what is given to nobody."""
    given = Q(owner=person)
    return given | Q(owner=None) if person.has_role(Role.OWNER) else given


def duties_listed(
    *,
    within: date | None = None,
    late: date | None = None,
    state: str = "",
    kind: str = "",
    subject: str = "",
    rule: int | None = None,
    machine: int | None = None,
    owner: Person | None = None,
    search: str = "",
) -> "QuerySet[Duty]":
    """Open duties by their day, or those of another state; filters add up.

    `within`: due by that day; `late`: due before that day. `owner` finds what a person sees to.
    """
    rows = duties_whole().filter(state=state or Duty.State.OPEN)
    if within is not None:
        rows = rows.filter(due_on__lte=within)
    if late is not None:
        rows = rows.filter(due_on__lt=late)
    if kind:
        rows = rows.filter(kind=kind)
    if subject:
        rows = rows.filter(subject=subject)
    if rule is not None:
        rows = rows.filter(rule=rule)
    if machine is not None:
        rows = rows.filter(machine=machine)
    if owner is not None:
        rows = rows.filter(seen_to_by(owner))
    if search:
        at_site = Machine.objects.filter(
            placements__ends_at__isnull=True, placements__site__name__icontains=search
        )
        rows = rows.filter(
            Q(title__icontains=search)
            | Q(authority__icontains=search)
            | Q(site__name__icontains=search)
            | Q(machine__asset_tag__icontains=search)
            | Q(machine__in=at_site)
        )
    return rows.order_by("due_on", "title", "machine__asset_tag", "site__name", "pk")


def counts(today: date, person: Person | None = None) -> dict[str, int]:
    """How many open duties are late, and how many come due within thirty days; of all or of one."""
    rows = Duty.objects.filter(state=Duty.State.OPEN, due_on__lte=today + timedelta(days=SOON_DAYS))
    if person is not None:
        rows = rows.filter(seen_to_by(person))
    days = list(rows.order_by().values_list("due_on", flat=True))
    late = sum(day < today for day in days)
    return {"late": late, "soon": len(days) - late}


def duties_shown(person: Person, today: date, *, everybodys: bool) -> "QuerySet[Duty]":
    """What a calendar shows: open duties of a person, or of everybody, late ones and those of a
    little more than a year."""
    rows = duties_whole().filter(state=Duty.State.OPEN, due_on__lte=today + AHEAD)
    if not everybodys:
        rows = rows.filter(seen_to_by(person))
    return rows.order_by("due_on", "pk")[:MOST_SHOWN]


def rules_listed(*, state: str | None = None, kind: str = "") -> "QuerySet[DutyRule]":
    """Rules by state, each with whether it has an open turn."""
    is_open = Duty.objects.filter(rule=OuterRef("pk"), state=Duty.State.OPEN)
    rows = DutyRule.objects.select_related("owner").annotate(asked=Exists(is_open))
    if state is not None:
        rows = rows.filter(state=state)
    if kind:
        rows = rows.filter(kind=kind)
    return rows.order_by("state", "title", "pk")


def subjects_of(rule: DutyRule) -> int:
    """For how many subjects a rule asks something now. Two queries."""
    return len(Subjects.of([rule]).keys())
