"""Service work of the simulated weeks: what was reported, and what visits mended, as noted.

Faults that were played have their tickets; the rest is everyday service, seeded.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from random import Random
from typing import NamedTuple

from demo.books import Books
from demo.business.kinds import SPIRAL
from demo.business.machines import CASH, CASHLESS
from demo.business.set_ups import visit_day
from demo.business.shapes import Machine
from demo.facts import cents
from demo.simulator.cases import CASES, ORDINARY
from demo.simulator.truth import COINS, Truth, Visit
from demo.standing import Standing
from demo.workshop import Workshop
from fleet.machines.models import Column
from service.tickets.actions.past import PastRefund, PastTicket, write_down
from service.tickets.models import Cause, Symptom, Ticket

SEED = 20_260_415
A_WEEK = 5
LEFT_FREE = timedelta(days=2)
SHORTEST = timedelta(minutes=25)
TRIED = 4


class Everyday(NamedTuple):
    """One way in which machines go wrong: how often beside the others, and what mended it."""

    often: int
    symptom: str
    cause: str
    work: str
    part: str = ""
    needs: str = ""


EVERYDAY = (
    Everyday(6, "notes", "note_path", "Wiped the note path and its sensors.", needs=CASH),
    Everyday(3, "notes", "worn_out", "New belts.", "note-belts", CASH),
    Everyday(4, "cards", "card_reader", "New cable to the reader.", "reader-cable", CASHLESS),
    Everyday(2, "cards", "no_fault", "Took cards at the first try.", needs=CASHLESS),
    Everyday(3, "coins", "tubes_low", "Filled the tubes.", needs=CASH),
    Everyday(4, "nothing_came", "stuck", "A product stood across its column."),
    Everyday(3, "nothing_came", "drop_sensor", "Wiped the windows of the sensor."),
    Everyday(2, "nothing_came", "motor", "New motor.", "motor"),
    Everyday(3, "falls_out", "spacer", "New spacers, set as before.", "spacer", "columns"),
    Everyday(3, "wrong_product", "wrong_fill", "Took out what lay behind the wrong button."),
    Everyday(2, "warm", "condenser", "Brushed the condenser; cold again in two hours.", "", "cold"),
    Everyday(2, "warm", "fan", "New condenser fan.", "fan", "cold"),
    Everyday(2, "leak", "gasket", "New gasket; the ice was gone.", "gasket", "cold"),
    Everyday(4, "dark", "lamp", "New lamp.", "lamp"),
    Everyday(2, "door_lock", "lock", "New cylinder; keys handed to the driver.", "lock"),
    Everyday(1, "damage", "vandalism", "Bent the coin return straight; glass whole."),
    Everyday(2, "nothing_works", "site_power", "The host's cleaner had pulled the plug."),
    Everyday(1, "other", "no_fault", "Looked through all of it; nothing found."),
)
SOURCES = (
    Ticket.Source.PUBLIC,
    Ticket.Source.PUBLIC,
    Ticket.Source.HOST,
    Ticket.Source.DESK,
    Ticket.Source.DRIVER,
)
SAID = {
    "notes": "Spits every note out again.",
    "cards": "Tap does nothing, it just blinks.",
    "coins": "My quarters fall straight through.",
    "nothing_came": "Paid, it turned, nothing fell.",
    "sold_out_full": "Says sold out. You can see that it is full.",
    "warm": "The drinks are not cold.",
    "two_for_one": "Got two for one, thought you should know.",
}


@dataclass(frozen=True)
class Told:
    """What a visit mended, before it is a ticket."""

    tag: str
    visit: Visit
    reported_at: datetime
    way: Everyday
    label: str = ""
    tested: int = 0


class Mended:
    """Writes the closed tickets of the weeks into books that hold visits and stock."""

    def __init__(
        self, books: Books, standing: Standing, workshop: Workshop, truth: Truth, until: date
    ) -> None:
        self._books = books
        self._standing = standing
        self._workshop = workshop
        self._truth = truth
        self._until = until
        self._random = Random(f"{SEED}")
        self._symptoms = {one.code: one for one in Symptom.objects.all()}
        self._causes = {one.code: one for one in Cause.objects.all()}
        self._columns = columns_of(books)

    def write(self) -> list[Ticket]:
        """All of them at once."""
        told = [*self._of_coins(), *self._of_jams(), *self._again(), *self._everyday()]
        told.sort(key=lambda one: (one.reported_at, one.tag))
        return write_down(
            tickets=[self._ticket(one) for one in told],
            actor=self._books.dispatcher,
            now=datetime.now(UTC),
        )

    def _of_coins(self) -> Iterator[Told]:
        """Coins that stuck, until the next visit freed them."""
        way = Everyday(0, "coins", "coin_path", "Freed and cleaned the coin path.", "coin-gate")
        for machine in self._books.business.machines:
            truth = self._truth[machine.asset_tag]
            for trouble in truth.troubles:
                visit = _next(truth.visits, trouble.at)
                if trouble.what == COINS and visit is not None:
                    part = way.part if self._random.random() < 0.3 else ""
                    told = self._told(machine, visit, trouble.at, way._replace(part=part))
                    yield from told

    def _of_jams(self) -> Iterator[Told]:
        """Columns that jammed, mended at a later visit than the next: the part was not aboard."""
        way = Everyday(0, "sold_out_full", "motor", "The motor turned, its cam did not.", "motor")
        for machine in self._books.business.machines:
            truth = self._truth[machine.asset_tag]
            for jam in CASES.get(machine.asset_tag, ORDINARY).jams:
                if jam.mended is None:
                    continue
                day = visit_day(machine, self._until - timedelta(days=jam.mended))
                began = self._until - timedelta(days=jam.days_before)
                for visit in truth.visits:
                    if visit.at.date() == day and began < day:
                        since = visit.at - timedelta(days=(day - began).days - 1)
                        yield from self._told(machine, visit, since, way, jam.column, TRIED)

    def _again(self) -> Iterator[Told]:
        """One machine whose notes fail again and again, each time wiped; then its belts."""
        machine = self._books.business.machines[0]
        visits = self._truth[machine.asset_tag].visits
        ways = (EVERYDAY[0], EVERYDAY[0], EVERYDAY[1])
        for way, visit in zip(ways, visits[-10:-3:3], strict=False):
            yield from self._told(machine, visit, visit.at - timedelta(hours=20), way)

    def _everyday(self) -> Iterator[Told]:
        """Some of every week's visits had something to mend."""
        made = [
            (machine, visit)
            for machine in self._books.business.machines
            for visit in self._truth[machine.asset_tag].visits
        ]
        if not made:
            return
        first = min(visit.at for _, visit in made)
        last = max(visit.at for _, visit in made)
        wanted = max(1, A_WEEK * (last - first).days // 7)
        for machine, visit in self._random.sample(made, min(wanted, len(made))):
            ways = [way for way in EVERYDAY if _can(machine, way)]
            way = self._random.choices(ways, [one.often for one in ways])[0]
            label = ""
            if self._symptoms[way.symptom].asks_column:
                label = self._random.choice(visit.fills).column
            since = visit.at - timedelta(hours=self._random.uniform(4, 52))
            tested = TRIED if label else 0
            if since > first and visit.at < last - LEFT_FREE:
                yield from self._told(machine, visit, since, way, label, tested)

    def _told(
        self,
        machine: Machine,
        visit: Visit,
        since: datetime,
        way: Everyday,
        label: str = "",
        tested: int = 0,
    ) -> Iterator[Told]:
        reported_at = since + timedelta(minutes=self._random.randrange(15, 240))
        if reported_at <= visit.at - SHORTEST:
            yield Told(machine.asset_tag, visit, reported_at, way, label, tested)

    def _ticket(self, one: Told) -> PastTicket:
        random, visit, way = self._random, one.visit, one.way
        source = random.choice(SOURCES)
        minutes = random.randrange(8, 16) + (random.randrange(8, 26) if way.part else 0)
        given = one.reported_at + (visit.at - one.reported_at) * random.uniform(0.05, 0.5)
        refund = None
        if way.symptom == "nothing_came" and source == Ticket.Source.PUBLIC:
            refund = PastRefund(
                amount=cents(random.choice((150, 175, 250))),
                method="cash",
                paid_at=visit.leaves,
                paid_by=self._books.people[visit.driver_email],
            )
        return PastTicket(
            machine=self._books.machines[one.tag],
            symptom=self._symptoms[way.symptom],
            source=source,
            reported_at=one.reported_at,
            given_at=given,
            on_site_at=visit.at,
            closed_at=max(visit.leaves, visit.at + timedelta(minutes=minutes)),
            done_by=self._books.people[visit.driver_email],
            cause=self._causes[way.cause],
            minutes=minutes,
            work=way.work,
            column=self._columns[one.tag, one.label] if one.label else None,
            said=SAID.get(way.symptom, "") if source == Ticket.Source.PUBLIC else "",
            paid_how=self._paid(way) if source == Ticket.Source.PUBLIC else "",
            test_vends_made=one.tested,
            test_vends_passed=one.tested,
            parts=[self._workshop.part(way.part)] if way.part else [],
            place=self._standing.vehicles[visit.truck].truck if way.part else None,
            refund=refund,
        )

    def _paid(self, way: Everyday) -> str:
        known = {"notes": "notes", "cards": "card", "coins": "coins"}
        return known.get(way.symptom, self._random.choice(("coins", "card")))


def columns_of(books: Books) -> Mapping[tuple[str, str], Column]:
    """Columns by the machine's tag and their label."""
    rows = Column.objects.filter(machine__in=books.machines.values())
    return {
        (row.machine.asset_tag, row.position.label): row
        for row in rows.select_related("machine", "position")
    }


def _next(visits: Sequence[Visit], after: datetime) -> Visit | None:
    return next((one for one in visits if one.at > after), None)


def _can(machine: Machine, way: Everyday) -> bool:
    match way.needs:
        case "cold" | "columns":
            return machine.kind_name != SPIRAL
        case "":
            return True
        case _:
            return way.needs in machine.payments
