"""Tickets on runs: put where they cost least and given to the driver, taken off, let go when done.

The ticket is held before the runs, in every action that touches both.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.db import transaction

from people.errors import Unacceptable
from people.models import AuditEntry, Person
from people.roles import Role
from service.compute.routing.change import Move, insert, moved
from service.compute.routing.problem import BadProblem
from service.compute.routing.results import Delta
from service.tickets import writing
from service.tickets.actions import moves
from service.tickets.models import Ticket
from service.tickets.states import Verb

from ..board import Board, board_of
from ..models import DriverProfile, Run, Stop, TicketStop
from ..queries.standing import desk_standing
from ..ticketed import reasons
from . import alongside, byhand
from .changes import Change, change_of
from .changing import OPEN, held_runs, write
from .errors import CannotChange
from .offers import STILL_TO_GO, closed, new_stop, standing_at, stop_there

DESK = (Role.OWNER, Role.DISPATCHER)
State = Ticket.State
MOST_TOLD = 5


@dataclass(frozen=True)
class Assigned:
    """A ticket that somebody goes to see to, on which stop, and what that changed."""

    ticket: Ticket
    stop: Stop
    change: Change


@transaction.atomic
def assign(
    *,
    ticket: Ticket,
    actor: Person,
    now: datetime,
    run: Run | None = None,
    driver: DriverProfile | None = None,
    day: date | None = None,
    seen: str | None = None,
) -> Assigned:
    """Put a ticket on a driver's run where it costs least, and give it to the driver.

    Name the run; or a driver and a day, whose agreed run of it is taken, or made by hand where
    there is none. A machine that is on the run anyway gets the time for it; one on another run
    comes over whole. `seen` is how ticket and run stood when it was decided (`Offer.seen`).
    Raises CannotChange (code changed_meanwhile says what changed), IllegalMove, Unacceptable.
    """
    whose = run or _run_of(driver, day)
    on_day = whose.date if whose else day or now.date()
    on = stop_there(ticket, on_day)
    keys = {one.run_id for one in (on, _stop_of(ticket)) if one is not None}
    keys |= {whose.pk} if whose else set()
    version, standing = _parts(seen)
    alongside.hold_tickets(sorted(keys), ticket.pk)
    # Before anything is moved: a stop that comes over gives its tickets to its new driver.
    writing.held(ticket, Verb.GIVE, seen_version=version)
    runs = {one.pk: one for one in held_runs(sorted(keys))}
    if whose is not None and standing and standing != desk_standing([whose.pk])[whose.pk]:
        raise _changed(runs[whose.pk], now)
    before = TicketStop.objects.filter(ticket=ticket).select_related("stop__run").first()
    if before is not None and (on is None or before.stop_id != on.pk):
        _lift(before, actor=actor, now=now)
    if whose is None:
        target, change = _own_run(ticket, driver, day, actor=actor, now=now)
    else:
        target, change = _onto(runs[whose.pk], on, runs, ticket, actor=actor, now=now)
    alongside.put_on(ticket, target, actor=actor, now=now)
    given = moves.give(ticket=ticket, to=target.run.driver, actor=actor, now=now)
    return Assigned(given, target, change)


@transaction.atomic
def unassign(
    *, ticket: Ticket, reason: str, actor: Person, now: datetime, seen: str | None = None
) -> Ticket:
    """Take a ticket off its run and from its driver: it is nobody's again.

    Its stop goes with it when nothing else is to be done there. Raises as hand_back does.
    """
    version, _ = _parts(seen)
    row = TicketStop.objects.filter(ticket=ticket).select_related("stop__run").first()
    alongside.hold_tickets([row.stop.run_id] if row else [], ticket.pk)
    given = moves.hand_back(
        ticket=ticket, reason=reason, actor=actor, now=now, seen_version=version
    )
    if row is not None:
        _lift(row, actor=actor, now=now)
    return given


@transaction.atomic
def let_go(*, ticket: Ticket, actor: Person, now: datetime) -> bool:
    """A ticket that has ended leaves its run; its stop too when nothing else is to be done there.

    Whether there was anything to do. A stop where somebody is or was stays.
    """
    alongside.hold_tickets([], ticket.pk)
    fresh = Ticket.objects.get(pk=ticket.pk)
    row = TicketStop.objects.filter(ticket=ticket).select_related("stop__run").first()
    if row is None or fresh.is_open:
        return False
    _lift(row, actor=actor, now=now)
    return True


def tidy(*, now: datetime) -> int:
    """Let go of every ticket that has ended; how many there were. Safe to run at any time."""
    rows = TicketStop.objects.filter(
        ticket__state__in=Ticket.ENDED, stop__state=Stop.State.PLANNED
    ).select_related("ticket")
    done = 0
    for row in rows.order_by("pk"):
        last = row.ticket.events.filter(actor__isnull=False).order_by("-pk").first()
        if last is not None and last.actor is not None:
            done += let_go(ticket=row.ticket, actor=last.actor, now=now)
    return done


def _run_of(driver: DriverProfile | None, day: date | None) -> Run | None:
    if driver is None or day is None:
        message = "name a run, or a driver and a day"
        raise Unacceptable(message, fields={"run": message})
    return Run.objects.filter(driver=driver.person_id, date=day, agreed=True).first()


def _stop_of(ticket: Ticket) -> Stop | None:
    row = TicketStop.objects.filter(ticket=ticket).select_related("stop").first()
    return row.stop if row else None


def _parts(seen: str | None) -> tuple[int | None, str]:
    """The version of the ticket and how the run stood, of what a page sends back."""
    if seen is None:
        return None, ""
    version, _, standing = seen.partition("-")
    if not (version.isascii() and version.isdecimal() and len(version) < 10):
        message = "send back what the offer gave as seen"
        raise Unacceptable(message, fields={"seen": message})
    return int(version), standing


def _changed(run: Run, now: datetime) -> CannotChange:
    """A refusal that says what was done to the run lately, and by whom."""
    entries = AuditEntry.objects.filter(object_type=Run._meta.label, object_id=run.pk)
    last = entries.select_related("actor").order_by("-pk").first()
    said = ""
    if last is not None:
        who = last.actor or "the service"
        minutes = max(0, round((now - last.at).total_seconds() / 60))
        said = f": {who}, {minutes} min ago: {last.verb}"
        added = [
            one
            for one in (last.after or {}).get("stops", [])
            if one not in (last.before or {}).get("stops", [])
        ]
        said += f" ({', '.join(added[:MOST_TOLD])})" if added else ""
    return CannotChange(
        f"the run of {run.driver} is no longer as it was when this was decided, so nothing was "
        f"changed{said}",
        code="changed_meanwhile",
    )


def _onto(
    run: Run,
    there: Stop | None,
    runs: dict[int, Run],
    ticket: Ticket,
    *,
    actor: Person,
    now: datetime,
) -> tuple[Stop, Change]:
    """The stop of the run at which the ticket is seen to, made or lengthened."""
    if not run.agreed:
        raise CannotChange(f"{run}: agree to its plan first", code="run_not_agreed")
    if run.state not in OPEN:
        raise CannotChange(f"{run} is {run.get_state_display()}", code="run_has_begun")
    if there is None:
        return _inserted(run, ticket, actor=actor, now=now)
    on = TicketStop.objects.filter(ticket=ticket, stop=there).exists()
    if there.run_id != run.pk:
        _taken_over(there, run, runs, actor=actor, now=now)
    if not on:
        _lengthen(there, ticket.symptom.work_minutes, because=ticket)
    return there, _timed(there, actor=actor, now=now)


def _inserted(run: Run, ticket: Ticket, *, actor: Person, now: datetime) -> tuple[Stop, Change]:
    site = standing_at(ticket, run.date)
    if site is None:
        raise CannotChange(f"{ticket.machine} stands nowhere that day", code="cannot_be_visited")
    if site.latitude is None:
        raise CannotChange(f"{site} has no coordinates", code="cannot_be_visited")
    wanted = new_stop(ticket, site)
    skill = ticket.symptom.needs_skill
    asks = {ticket.machine_id: (skill,)} if skill else None
    board = board_of([run], now=now, wanted=[wanted], asks=asks)
    shut = closed(site, board.day)
    if shut:
        raise CannotChange(shut, code="cannot_be_visited")
    found = insert(board.problem, board.plan, ticket.machine.asset_tag, board.road)
    if found is None:
        raise CannotChange("there is no run to put it on", code="no_runs")
    why = f"ticket {ticket.reference}"
    write(board, found.delta.plan, verb="put ticket on run", actor=actor, now=now, reason=why)
    return wanted, change_of(found.delta, found.vehicle, found.at + 1)


def _taken_over(
    stop: Stop, run: Run, runs: dict[int, Run], *, actor: Person, now: datetime
) -> None:
    """A stop comes over from another run, to where it costs least."""
    if stop.locked:
        raise CannotChange(f"{stop} is locked on the run of {stop.run.driver}")
    board = board_of([runs[key] for key in sorted({run.pk, stop.run_id})], now=now)
    tag = stop.machine.asset_tag
    done = {one.stop for one in board.road.done}
    theirs = board.plan.run_of(tag)
    if tag in done or theirs is None:
        raise CannotChange(f"{stop}: somebody is there already")
    target = next((one for one in board.plan.runs if one.vehicle == run.vehicle.name), None)
    names = target.names if target else ()
    first = sum(1 for one in names if one in done)
    best: Delta | None = None
    for at in range(first, len(names) + 1):
        delta = _moved(board, Move(tag, run.vehicle.name, at))
        if best is None or (len(delta.faults), delta.cost) < (len(best.faults), best.cost):
            best = delta
    if best is None:
        raise CannotChange("there is no place on the run")
    write(board, best.plan, verb="take stop over", actor=actor, now=now)
    # The board has rows of its own of the stops.
    stop.refresh_from_db()


def _moved(board: Board, move: Move) -> Delta:
    try:
        return moved(board.problem, board.plan, move, board.road)
    except BadProblem as error:
        raise CannotChange(str(error)) from error


def _own_run(
    ticket: Ticket, driver: DriverProfile | None, day: date | None, *, actor: Person, now: datetime
) -> tuple[Stop, Change]:
    """A run for a driver who has none that day; another's stop at the machine stays there."""
    if driver is None or day is None:
        raise Unacceptable("name a driver and a day", fields={"driver": "name a driver and a day"})
    if stop_there(ticket, day) is not None:
        raise CannotChange(
            f"{ticket.machine} is on a run of that day; give it to that driver, or plan the "
            "stop onto another run first",
            code="on_a_run",
        )
    begins = now if day_has_begun(driver, day, now) else None
    run = byhand.add_run(
        date=day,
        driver=driver,
        machines=[ticket.machine],
        actor=actor,
        now=now,
        starts_at=begins,
    )
    stop = Stop.objects.select_related("run__driver", "machine", "site").get(run=run)
    stop.service_minutes = Decimal(ticket.symptom.work_minutes)
    stop.must_go = True
    stop.reasons = list(reasons([ticket]))
    stop.save(update_fields=["service_minutes", "must_go", "reasons", "updated_at"])
    return stop, _timed(stop, actor=actor, now=now)


def day_has_begun(driver: DriverProfile, day: date, now: datetime) -> bool:
    """Whether the driver's shift of that day has begun."""
    zone = driver.depot.site.time_zone
    local = now.astimezone(zone)
    shift = driver.shifts.filter(weekday=day.weekday()).first()
    return local.date() == day and shift is not None and shift.starts <= local.time() < shift.ends


def _lengthen(stop: Stop, minutes: int, *, because: Ticket | None = None) -> None:
    """Give a stop so many minutes more, or fewer, and the ticket's reason."""
    stop.service_minutes = max(Decimal(1), Decimal(stop.service_minutes) + minutes)
    if because is not None:
        stop.reasons = [*reasons([because]), *stop.reasons]
        stop.must_go = True
    stop.save(update_fields=["service_minutes", "reasons", "must_go", "updated_at"])


def _timed(stop: Stop, *, actor: Person, now: datetime) -> Change:
    """The run of a stop with its times reckoned anew; what that changed."""
    (run,) = held_runs([stop.run_id])
    sites = [one.site for one in Stop.objects.filter(run=run).select_related("site")]
    if any(one.latitude is None for one in [run.depot.site, *sites]):
        return Change(0.0, 0, 0, run.vehicle.name, stop.sequence, (), (), (), "times not known")
    board = board_of([run], now=now)
    ended = run.planned_end
    write(board, board.plan, verb="change time at stop", actor=actor, now=now)
    later = round((run.planned_end - ended).total_seconds() / 60, 1)
    said = f"the run ends {abs(later):g} min {'later' if later >= 0 else 'earlier'}"
    return Change(later, 0, 0, run.vehicle.name, stop.sequence, (), (), (), said)


def _lift(row: TicketStop, *, actor: Person, now: datetime) -> None:
    """Take a ticket off its stop, and the stop off its run when it was there for tickets alone."""
    stop = (
        Stop.objects.select_related("run__driver", "machine", "site").filter(pk=row.stop_id).first()
    )
    minutes, key = row.minutes, row.ticket_id
    row.delete()
    if stop is None or stop.state not in STILL_TO_GO or stop.run.state == Run.State.ENDED:
        return
    stop.reasons = _without(stop.reasons, key)
    stop.must_go = any(one.get("code") not in _SOFT for one in stop.reasons)
    alone = not stop.reasons and not stop.ticket_stops.exists()
    if alone and stop.state == Stop.State.PLANNED and not stop.acts.exists():
        stop.locked = False
        stop.save(update_fields=["locked", "updated_at"])
        (run,) = held_runs([stop.run_id])
        board = board_of([run], now=now)
        delta = _moved(board, Move(stop.machine.asset_tag, ""))
        write(
            board, delta.plan, verb="take stop off", actor=actor, now=now, reason="no ticket left"
        )
        if not Stop.objects.filter(run=run).exists():
            run.planned_end = run.planned_start
            run.save(update_fields=["planned_end", "updated_at"])
        return
    stop.save(update_fields=["reasons", "must_go", "updated_at"])
    _lengthen(stop, -minutes)
    _timed(stop, actor=actor, now=now)


_SOFT = ("must_go", "worth_it", "kept", "at_stake", "another_day", "by_hand", "left_out", "done")
"""Reasons of a plan that do not oblige anybody to go."""


def _without(told: Sequence[dict[str, Any]], ticket: int) -> list[dict[str, Any]]:
    return [one for one in told if ticket not in (one.get("tickets") or ())]
