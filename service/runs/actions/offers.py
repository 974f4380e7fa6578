"""What giving a ticket to each driver of a day would mean, before anybody says yes."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime

from django.db.models import Q

from fleet.machines.models import Placement, Site
from service.compute.routing import offers as routing
from service.compute.routing.problem import BadProblem
from service.compute.routing.results import Rule
from service.tickets.models import Ticket

from ..board import Board, board_of
from ..days import Day, day_of, windows
from ..models import Run, Stop, TicketStop
from ..offered import Offer, Offers, WouldBeLate, because_of, words_of
from ..parts import aboard, likely_parts
from ..queries.calendar import Calendar, OnDuty
from ..queries.standing import desk_standing
from ..ticketed import reasons
from .changing import OPEN, whole

STILL_TO_GO = (Stop.State.PLANNED, Stop.State.ARRIVED)
SKIPPED = Stop.State.SKIPPED


def preview(*, ticket: Ticket, day: date, now: datetime) -> Offers:
    """What each driver on duty would lose by a ticket, the best first, with the reason why.

    Nothing is changed. One board is made of the whole day, its ways reckoned once.
    """
    runs = list(whole().filter(date=day, agreed=True, state__in=OPEN))
    idle = without_run(day)
    likely = likely_parts(ticket)
    empty = Offers(ticket, day, likely=likely)
    if ticket.state == Ticket.State.ON_SITE:
        return _refused(empty, f"{ticket.given_to} is at work on it")
    if not ticket.is_open:
        return _refused(empty, f"it is {ticket.get_state_display()}")
    if not runs and not idle:
        return _refused(empty, "nobody drives that day")
    site = standing_at(ticket, day)
    if site is None:
        return _refused(empty, f"{ticket.machine} stands nowhere that day")
    if site.latitude is None or any(run.depot.site.latitude is None for run in runs):
        return _refused(empty, f"the way there is not known: {site} has no coordinates")
    found = _asked(ticket, runs, idle, site, day, now)
    if isinstance(found, str):
        return _refused(empty, found)
    board, answers, there = found
    vehicles = [*(run.vehicle for run in runs), *(one.vehicle for one in idle)]
    trucks = aboard(likely, [one.truck_id for one in vehicles])
    told = _Told(ticket, board, idle, there, trucks, closed(site, board.day))
    offers = tuple(sorted((told.offer(one) for one in answers), key=lambda one: one.rank))
    return Offers(
        ticket,
        day,
        offers,
        likely,
        because=because_of(offers),
        of_driver={one.driver.pk: one for one in offers},
    )


def without_run(day: date) -> list[OnDuty]:
    """Drivers on duty that day who have no agreed run, and their vehicles are not on one."""
    taken = Run.objects.filter(date=day, agreed=True).values_list("driver", "vehicle")
    drivers, vehicles = {one for one, _ in taken}, {one for _, one in taken}
    return [
        one
        for one in Calendar(day, day).duty(day).on
        if one.profile.person_id not in drivers
        and one.vehicle.pk not in vehicles
        and one.profile.depot.site.latitude is not None
    ]


def stop_there(ticket: Ticket, day: date) -> Stop | None:
    """The stop of that day's agreed runs at which the machine is visited anyway."""
    return (
        Stop.objects.filter(
            machine=ticket.machine_id,
            run__date=day,
            run__agreed=True,
            run__state__in=OPEN,
            state__in=STILL_TO_GO,
        )
        .select_related("run", "machine", "site")
        .order_by("run", "pk")
        .first()
    )


def new_stop(ticket: Ticket, site: Site) -> Stop:
    """A stop for the ticket alone, of no run yet."""
    return Stop(
        machine=ticket.machine,
        site=site,
        service_minutes=ticket.symptom.work_minutes,
        must_go=True,
        reasons=reasons([ticket]),
    )


def standing_at(ticket: Ticket, day: date) -> Site | None:
    """Where the machine stands that day."""
    when = day_of(day)
    placed = (
        Placement.objects.filter(
            Q(ends_at__isnull=True) | Q(ends_at__gt=when.midnight),
            machine=ticket.machine_id,
            starts_at__lt=when.moment(86_400),
            site__isnull=False,
        )
        .select_related("site")
        .order_by("-starts_at")
        .first()
    )
    return placed.site if placed else None


def closed(site: Site, day: Day) -> str:
    """Why a site cannot be entered on a day; empty when it can."""
    if windows(site, day, site.opening_windows.all()) is None:
        return f"{site} cannot be entered on a {day.date:%A}"
    return ""


def extra_minutes(ticket: Ticket, there: Stop) -> int:
    """How much longer a stop takes for a ticket that is not on it yet."""
    on = TicketStop.objects.filter(ticket=ticket, stop=there).exists()
    return 0 if on else ticket.symptom.work_minutes


def _refused(empty: Offers, why: str) -> Offers:
    return Offers(empty.ticket, empty.day, likely=empty.likely, refused=why)


def _asked(
    ticket: Ticket,
    runs: Sequence[Run],
    idle: Sequence[OnDuty],
    site: Site,
    day: date,
    now: datetime,
) -> tuple[Board, tuple[routing.Offer, ...], Stop | None] | str:
    there = stop_there(ticket, day)
    skill = ticket.symptom.needs_skill
    board = board_of(
        runs,
        now=now,
        wanted=[] if there else [new_stop(ticket, site)],
        on=day,
        idle=idle,
        asks={ticket.machine_id: (skill,)} if skill else None,
    )
    more = extra_minutes(ticket, there) if there else 0
    try:
        return (
            board,
            routing.offers(
                board.problem, board.plan, ticket.machine.asset_tag, board.road, more_s=more * 60
            ),
            there,
        )
    except BadProblem as error:
        return str(error)


class _Told:
    """Offers of the computation in the words of the board."""

    def __init__(
        self,
        ticket: Ticket,
        board: Board,
        idle: Sequence[OnDuty],
        there: Stop | None,
        trucks: object,
        shut: str,
    ) -> None:
        self.ticket, self.board, self.there, self.shut = ticket, board, there, shut
        self.idle = {one.vehicle.name: one for one in idle}
        self.trucks = trucks
        self.promises = _promises(board)
        self.before = {one.stop: one.leaves_s for run in board.plan.runs for one in run.stops}
        self.standing = desk_standing([run.pk for run in board.runs.values()])

    def offer(self, one: routing.Offer) -> Offer:
        run = self.board.runs.get(one.vehicle)
        duty = self.idle.get(one.vehicle)
        driver = run.driver if run else duty.profile.person  # type: ignore[union-attr]
        vehicle = run.vehicle if run else duty.vehicle  # type: ignore[union-attr]
        day = self.board.day
        leaves_at = day.moment(one.visit.leaves_s)
        faults = [*([self.shut] if self.shut else [])]
        faults += [
            fault.detail
            for fault in one.delta.faults
            if fault.rule not in (Rule.SKILL, Rule.WINDOW)
        ]
        faults += [
            f"{self.ticket.machine} is reached outside its hours"
            for fault in one.delta.faults
            if fault.rule is Rule.WINDOW and fault.stop == one.stop
        ][:1]
        made = Offer(
            driver=driver,
            vehicle=vehicle,
            run=run,
            how=self._how(run),
            position=one.at + 1,
            minutes=max(0, round(one.delta.work_s / 60)),
            metres=one.delta.drive_m,
            minor=one.delta.cost,
            begins_at=day.moment(one.visit.begins_s),
            leaves_at=leaves_at,
            run_ends_at=day.moment(one.run.ends_s),
            late=self._late(one),
            faults=tuple(faults),
            lacks=self._lacks(one),
            parts=self.trucks[vehicle.truck_id],  # type: ignore[index]
            late_by_minutes=_late_by(self.ticket, leaves_at),
            seen=seen_of(self.ticket, self.standing.get(run.pk if run else 0, "")),
        )
        return _with_words(made)

    def _how(self, run: Run | None) -> str:
        if self.there is None:
            return "between" if run else "own_run"
        return "there" if run is not None and run.pk == self.there.run_id else "takes_over"

    def _lacks(self, one: routing.Offer) -> tuple[str, ...]:
        vehicle = self.board.problem.vehicle_named[one.vehicle]
        asked = self.board.problem.stop_named[one.stop].skills
        return tuple(skill for skill in asked if skill not in vehicle.skills)

    def _late(self, one: routing.Offer) -> tuple[WouldBeLate, ...]:
        """Other stops that would miss their hours, and tickets their promise, by this alone."""
        hours = [
            WouldBeLate(f"{fault.stop} would miss its hours", -(-fault.by // 60))
            for fault in one.delta.faults
            if fault.rule is Rule.WINDOW and fault.stop != one.stop
        ]
        found = []
        for run in one.delta.plan.runs:
            for at in run.stops:
                for ticket, due_s in self.promises.get(at.stop, ()):
                    if at.stop != one.stop and self.before.get(at.stop, 0) <= due_s < at.leaves_s:
                        words = (
                            f"{ticket.machine}: {ticket.symptom.words} would be after its promise"
                        )
                        found.append(WouldBeLate(words, -(-(at.leaves_s - due_s) // 60)))
        return (*hours, *found)


def seen_of(ticket: Ticket, standing: str) -> str:
    """How a ticket and a run stood, in a word that a page sends back."""
    return f"{ticket.version}-{standing}"


def _promises(board: Board) -> dict[str, list[tuple[Ticket, int]]]:
    """Tickets with a promise on the stops of a board, with the second of the day it ends."""
    names = {stop.pk: name for name, stop in board.stops.items() if stop.pk is not None}
    rows = TicketStop.objects.filter(
        stop__in=names, ticket__promised_at__isnull=False, ticket__closed_at__isnull=True
    ).select_related("ticket__machine", "ticket__symptom")
    found: dict[str, list[tuple[Ticket, int]]] = {}
    for row in rows.order_by("ticket"):
        due_s = board.day.seconds(row.ticket.promised_at or board.day.midnight)
        found.setdefault(names[row.stop_id], []).append((row.ticket, due_s))
    return found


def _late_by(ticket: Ticket, leaves_at: datetime) -> int | None:
    if ticket.promised_at is None or ticket.paused_at is not None:
        return None
    return max(0, -(-int((leaves_at - ticket.promised_at).total_seconds()) // 60))


def _with_words(one: Offer) -> Offer:
    return replace(one, said=words_of(one))
