"""Planning: which machines tomorrow, by whom, in what order, and why; then agreed or dropped."""

import hashlib
import json
from collections.abc import Sequence
from dataclasses import asdict
from datetime import date, datetime, timedelta

from django.db import transaction

from people import rows
from people.errors import Unable, Unacceptable
from people.models import Person
from service.compute.routing.day import plan as solve
from service.compute.routing.problem import Problem
from service.compute.routing.week import plan_week as solve_week

from ..gathering import Question, gather
from ..models import DayPlan, Run
from ..queries.calendar import Calendar
from ..writing import write_plan
from . import alongside

MOST_DAYS = 14
FURTHEST = timedelta(days=60)


class UnableToAgree(Unable):
    code = "unable_to_agree"

    def __init__(self, plan: DayPlan, why: str) -> None:
        super().__init__(f"{plan} cannot be agreed to: {why}")


def plan_day(
    *,
    date: date,
    actor: Person | None,
    now: datetime,
    seed: int | None = None,
    effort: int | None = None,
) -> DayPlan:
    """Plan a day for all depots; a draft, until somebody agrees. `actor` None: the night itself.

    The same rows, seed and effort (rounds of the search) give the same plan. Nothing is locked
    while it is searched. Raises Unacceptable for a day that is past or too far ahead, or on which
    nobody drives.
    """
    _require_days([date], now)
    _require_somebody([date])
    (question,) = gather([date], now=now, seed=seed, effort=effort)
    found = solve(question.problem)
    return write_plan(
        question=question,
        found=found,
        digest=digest_of(question.problem),
        week_of=None,
        actor=actor,
        now=now,
    )


def plan_week(
    *,
    starts_on: date,
    actor: Person | None,
    now: datetime,
    days: int = 7,
    seed: int | None = None,
    effort: int | None = None,
) -> list[DayPlan]:
    """Plan several days in one search: each machine on the day on which it does the most good.

    A draft for each day on which somebody drives. Raises Unacceptable.
    """
    if not 1 <= days <= MOST_DAYS:
        message = f"give 1 to {MOST_DAYS} days"
        raise Unacceptable(message, fields={"days": message})
    dates = [starts_on + timedelta(days=number) for number in range(days)]
    _require_days(dates, now)
    _require_somebody(dates)
    questions = gather(dates, now=now, seed=seed, effort=effort)
    found = solve_week([question.problem for question in questions])
    with transaction.atomic():
        return [
            write_plan(
                question=question,
                found=plan,
                digest=digest_of(question.problem),
                week_of=starts_on,
                actor=actor,
                now=now,
                elsewhere=_elsewhere(questions, found.days, number),
            )
            for number, (question, plan) in enumerate(zip(questions, found.days, strict=True))
            if question.drivers
        ]


@transaction.atomic
def agree(*, plan: DayPlan, actor: Person, now: datetime) -> DayPlan:
    """Agree to a draft: its runs become the drivers' own. Another plan agreed for that day gives
    way, as long as none of its runs has begun.

    Raises UnableToAgree, naming what stands against it.
    """
    # All plans of the day, in one order, so that two who agree at once follow each other.
    plans = {
        one.pk: one
        for one in DayPlan.objects.select_for_update(of=("self",))
        .filter(date=plan.date)
        .order_by("pk")
    }
    row = plans[plan.pk]
    if row.state != DayPlan.State.DRAFT:
        raise UnableToAgree(row, f"it is {row.get_state_display()}")
    before: list[Run] = []
    for other in plans.values():
        if other.state == DayPlan.State.AGREED:
            before += _give_way(other, row, actor, now)
    mine = list(Run.objects.select_for_update(of=("self",)).filter(plan=row).order_by("pk"))
    _require_free(row, mine)
    for run in mine:
        rows.put(run, {"agreed": True}, actor=actor, verb="agree run", now=now)
    alongside.take_up(mine, actor=actor, now=now, before=before)
    return rows.put(
        row,
        {"state": DayPlan.State.AGREED, "agreed_at": now, "agreed_by": actor},
        actor=actor,
        verb="agree plan",
        now=now,
    )


@transaction.atomic
def drop(*, plan: DayPlan, actor: Person, now: datetime) -> DayPlan:
    """Give a draft up. It stays to be looked at. Raises UnableToAgree for one agreed."""
    row = DayPlan.objects.select_for_update(of=("self",)).get(pk=plan.pk)
    if row.state == DayPlan.State.AGREED:
        raise UnableToAgree(row, "it is agreed; agree to another instead")
    changes = {"state": DayPlan.State.DROPPED}
    return rows.put(row, changes, actor=actor, verb="drop plan", now=now)


def digest_of(problem: Problem) -> str:
    """SHA-256 of all that goes into the search, hex: the same digest, the same plan."""
    plain = asdict(problem)
    return hashlib.sha256(json.dumps(plain, sort_keys=True).encode()).hexdigest()


def _require_days(dates: Sequence[date], now: datetime) -> None:
    first, last = min(dates), max(dates)
    # A day is over everywhere only when it is over where the date changes last.
    if first < (now - timedelta(hours=12)).date():
        message = f"{first} is past"
        raise Unacceptable(message, fields={"date": message})
    if last > (now + FURTHEST).date():
        message = f"{last} is more than {FURTHEST.days} days ahead"
        raise Unacceptable(message, fields={"date": message})


def _require_somebody(dates: Sequence[date]) -> None:
    """A plan without runs would only say of each machine that nobody comes."""
    calendar = Calendar(min(dates), max(dates))
    duties = [calendar.duty(one) for one in dates]
    if any(duty.on for duty in duties):
        return
    if len(duties) > 1:
        message = f"nobody drives on any day from {dates[0]} to {dates[-1]}"
    else:
        (duty,) = duties
        offs = sorted({f"{one.profile}: {one.why}" for one in duty.off})
        why = duty.closed or "; ".join(offs) or "no driver is entered"
        message = f"nobody drives on {duty.day}: {why}"
    raise Unacceptable(message, code="nobody_drives", fields={"date": message})


def _elsewhere(
    questions: Sequence[Question], plans: Sequence[object], number: int
) -> dict[str, date]:
    """On which other day of the week each machine is visited."""
    found: dict[str, date] = {}
    for at, (question, plan) in enumerate(zip(questions, plans, strict=True)):
        if at != number:
            for run in plan.runs:  # type: ignore[attr-defined]
                found |= dict.fromkeys(run.names, question.day.date)
    return found


def _give_way(other: DayPlan, plan: DayPlan, actor: Person, now: datetime) -> list[Run]:
    runs = list(Run.objects.select_for_update(of=("self",)).filter(plan=other).order_by("pk"))
    begun = [run for run in runs if run.state not in {Run.State.PLANNED, Run.State.LOCKED}]
    if begun:
        raise UnableToAgree(plan, f"the run of {begun[0]} has begun already; plan anew in the day")
    for run in runs:
        changes = {"agreed": False, "state": Run.State.PLANNED}
        rows.put(run, changes, actor=actor, verb="withdraw run", now=now)
    changes = {"state": DayPlan.State.DROPPED}
    rows.put(other, changes, actor=actor, verb="drop plan", now=now)
    return runs


def _require_free(plan: DayPlan, mine: Sequence[Run]) -> None:
    agreed = Run.objects.filter(date=plan.date, agreed=True).exclude(plan=plan)
    for other in agreed.select_related("driver", "vehicle"):
        for run in mine:
            if run.driver_id == other.driver_id:
                raise UnableToAgree(plan, f"{other.driver} has another run that day")
            if run.vehicle_id == other.vehicle_id:
                raise UnableToAgree(plan, f"{other.vehicle} is on another run that day")
