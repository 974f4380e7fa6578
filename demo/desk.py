"""What lies on the dispatcher's desk today: open tickets with their history, and today's runs."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from demo.books import Books
from demo.business.machines import asset_tag
from demo.business.people import EAST
from demo.business.shapes import Machine
from demo.facts import cents
from demo.mended import columns_of
from demo.simulator.cases import CASES, ORDINARY
from demo.standing import Standing
from demo.workshop import Workshop
from fleet.machines.models import SetUp
from people.models import Person
from service.runs.actions import byhand, dispatch
from service.runs.models import Run
from service.tickets.actions import agreements, changes, closing, moves, refunds, reporting
from service.tickets.actions import stickers as labels
from service.tickets.actions.reporting import Wanted
from service.tickets.models import Cause, PromiseRule, Symptom, Ticket

MORNING = time(5, 50)
MOST_DAYS_AHEAD = 7
SHUT_DAYS = 3
DAY_H = 24.0
PUBLIC, HOST, DESK, DRIVER = (
    Ticket.Source.PUBLIC,
    Ticket.Source.HOST,
    Ticket.Source.DESK,
    Ticket.Source.DRIVER,
)


class Desk:
    """Writes promises, stickers, tickets and runs through the actions, each at its own time."""

    def __init__(self, books: Books, standing: Standing, workshop: Workshop) -> None:
        self._books = books
        self._standing = standing
        self._workshop = workshop
        self._now = datetime.now(UTC)
        self._columns = columns_of(books)
        self._on_runs: list[Ticket] = []

    def write(self) -> int:
        """How many tickets are open in the end."""
        self._promises()
        labels.issue(
            machines=self._books.machines.values(), actor=self._books.dispatcher, now=self._now
        )
        for story in (
            self._too_late,
            self._waits,
            self._told_twice,
            self._one_fault,
            self._came_back,
            self._money,
            self._put_aside,
            self._left_otherwise,
            self._new,
        ):
            story()
        self._runs()
        return Ticket.objects.filter(state__in=Ticket.OPEN).count()

    def _promises(self) -> None:
        """What two houses were promised in writing, and until when a school is shut."""
        for code, hours in (("S06", 4), ("S30", 6)):
            agreements.save_rule(
                changes={
                    "site": self._books.sites[code],
                    "urgency": Ticket.Urgency.DOWN,
                    "kind": PromiseRule.Kind.WORKING_HOURS,
                    "amount": hours,
                },
                actor=self._books.owner,
                now=self._ago(60 * DAY_H),
            )
        for code in sorted({one.site_code for one in self._books.business.machines}):
            if any(_is_shut(one.asset_tag) for one in self._standing_at(code)):
                self._shut(code)

    def _standing_at(self, code: str) -> list[Machine]:
        return [one for one in self._books.business.machines if one.site_code == code]

    def _shut(self, code: str) -> None:
        today = self._now.astimezone(ZoneInfo(EAST)).date()
        for ahead in range(SHUT_DAYS):
            agreements.close_day(
                day=today + timedelta(days=ahead),
                why="autumn holidays",
                site=self._books.sites[code],
                actor=self._books.dispatcher,
                now=self._ago(14 * DAY_H),
            )

    def _too_late(self) -> None:
        ticket = self._report("cards", asset_tag("S22", "A"), 13 * DAY_H, HOST, "No card goes.")
        self._give(ticket, asset_tag("S22", "A"), 12.5 * DAY_H)
        changes.note(
            ticket=ticket,
            said="The host rang again: still no cards.",
            actor=self._books.dispatcher,
            now=self._ago(2 * DAY_H),
        )
        self._on_runs.append(ticket)

    def _waits(self) -> None:
        tag = asset_tag("S26", "A")
        ticket = self._report("door_lock", tag, 5 * DAY_H, DRIVER, "Hinge is bent, door drags.")
        driver = self._give(ticket, tag, 4.8 * DAY_H)
        moves.on_site(ticket=ticket, actor=driver, now=self._ago(4.2 * DAY_H))
        moves.wait(
            ticket=ticket,
            reason="the hinge comes from the maker on Friday",
            actor=driver,
            now=self._ago(4.15 * DAY_H),
        )

    def _told_twice(self) -> None:
        tag = asset_tag("S28", "C")
        first = self._report(
            "nothing_came",
            tag,
            2.2 * DAY_H,
            PUBLIC,
            "It said sold out after I paid.",
            column="2",
            paid_how="card",
            contact_reach="+1 850 555 0142",
            refund=Wanted(cents(150), "phone"),
        )
        self._report(
            "nothing_came", tag, 1.1 * DAY_H, PUBLIC, "Same again today.", column="2", join=first
        )
        self._on_runs.append(first)

    def _one_fault(self) -> None:
        """Two reports of other signs, which the dispatcher saw to be one fault."""
        tag = asset_tag("S02", "B")
        warm = self._report("warm", tag, 31.0, HOST, "Drinks are hardly cool since yesterday.")
        water = self._report("leak", tag, 22.5, PUBLIC, "There is water under the machine.")
        reporting.join(ticket=water, into=warm, actor=self._books.dispatcher, now=self._ago(21.0))

    def _came_back(self) -> None:
        tag, label = asset_tag("S19", "A"), "4"
        ticket = self._report(
            "sold_out_full", tag, 12 * DAY_H, HOST, "Never has cranberry.", column=label
        )
        self._mend(ticket, tag, 10 * DAY_H, "stuck", "Straightened a bottle; vends again.", 2)
        again = moves.reopen(
            ticket=ticket,
            reason="the host says it went sold out again the same day",
            actor=self._books.dispatcher,
            now=self._ago(3.3 * DAY_H),
        )
        changes.change(
            ticket=again,
            changes={"priority": Ticket.Priority.SOONER, "owner": self._books.dispatcher},
            actor=self._books.dispatcher,
            now=self._ago(3.2 * DAY_H),
        )

    def _money(self) -> None:
        """A refund that is still to be paid, and one that was refused."""
        tag = asset_tag("S08", "A")
        paid = self._report(
            "nothing_came",
            tag,
            6 * DAY_H,
            PUBLIC,
            "Two dollars gone.",
            column="3",
            paid_how="notes",
            contact_reach="desk@example.org",
            refund=Wanted(cents(200), "post"),
        )
        self._mend(paid, tag, 5 * DAY_H, "stuck", "A can stood across.", 4)
        tag = asset_tag("S13", "A")
        refused = self._report(
            "coins",
            tag,
            7 * DAY_H,
            PUBLIC,
            "It ate forty dollars in quarters.",
            paid_how="coins",
            contact_reach="+1 850 555 0177",
            refund=Wanted(cents(4000), "phone"),
        )
        self._mend(refused, tag, 5.1 * DAY_H, "no_fault", "Takes and gives every coin.", 3)
        refunds.refuse(
            refund=refused.refunds.get(),
            reason="the counters took eleven dollars in all that day",
            actor=self._books.owner,
            now=self._ago(4 * DAY_H),
        )

    def _put_aside(self) -> None:
        ticket = self._report(
            "damage", asset_tag("S40", "C"), 6 * DAY_H, HOST, "The glass is cracked."
        )
        moves.drop(
            ticket=ticket,
            reason="the coffee machine beside it was meant, which is not ours",
            actor=self._books.dispatcher,
            now=self._ago(5.8 * DAY_H),
        )

    def _left_otherwise(self) -> None:
        """A column that was touched: its new settings are in a changeover of their own."""
        tag, label = asset_tag("S23", "C"), "5"
        ticket = self._report(
            "falls_out", tag, 4 * DAY_H, DRIVER, "Two fall when the door opens.", column=label
        )
        column = self._columns[tag, label]
        was = SetUp.objects.get(column=column, ends_at__isnull=True)
        left = closing.ColumnLeft(
            column=column,
            deep=was.deep,
            price=was.price,
            front_setting=was.front_setting,
            rear_setting=None if was.rear_setting is None else was.rear_setting + 1,
            program=was.program,
            orientation=was.orientation,
            reason="one notch closer holds them; the chart's notch lets them lean",
        )
        self._mend(
            ticket, tag, 1.0, "play_great", "Rear plate one notch on.", 6, part="spacer", left=left
        )

    def _new(self) -> None:
        for symptom, site, letter, ago, source, said in (
            ("leak", "S17", "B", 21.0, HOST, "Water below the door since last night."),
            ("notes", "S06", "B", 27.0, PUBLIC, "Takes ones, not fives."),
            ("coins", "S33", "A", 31.0, HOST, "Coins fall through."),
            ("dark", "S10", "B", 76.0, DRIVER, "Upper lamp."),
            ("cards", "S03", "A", 50.0, PUBLIC, "Reader says out of service."),
            ("other", "S38", "S", 44.0, HOST, "Hums so loudly that people complain."),
        ):
            tag = asset_tag(site, letter)
            ticket = self._report(symptom, tag, ago, source, said)
            if symptom in ("leak", "coins", "dark"):
                self._on_runs.append(ticket)
        self._report("nothing_works", asset_tag("S06", "A"), 1.2, HOST, "All dark, door shut.")
        self._report(
            "wrong_price", asset_tag("S34", "C"), 5.0, PUBLIC, "Cheaper than it says.", "4"
        )

    def _runs(self) -> None:
        """Today's runs, agreed this morning, with the tickets that lay there overnight."""
        day = self._day()
        begun = datetime.combine(day, MORNING, tzinfo=ZoneInfo(EAST))
        morning = min(self._now, begun)
        runs: dict[str, Run] = {}
        for shift in self._books.business.shifts:
            tags = [
                one.asset_tag
                for one in self._books.business.machines
                if one.driver_email == shift.driver_email
                and day.weekday() in one.visit_weekdays
                and one.asset_tag in self._books.machines
                and not _is_shut(one.asset_tag)
            ]
            if not tags:
                continue
            runs[shift.driver_email] = byhand.add_run(
                date=day,
                driver=self._standing.drivers[shift.driver_email],
                machines=[self._books.machines[tag] for tag in tags],
                actor=self._books.dispatcher,
                now=morning,
            )
        for ticket in self._on_runs:
            email = self._books.business.machine(ticket.machine.asset_tag).driver_email
            if email in runs:
                dispatch.assign(
                    ticket=ticket, run=runs[email], actor=self._books.dispatcher, now=morning
                )

    def _day(self) -> date:
        """Today, or the next day on which anybody drives."""
        today = self._now.astimezone(ZoneInfo(EAST)).date()
        driven = {day for shift in self._books.business.shifts for day in shift.weekdays}
        days = (today + timedelta(days=ahead) for ahead in range(MOST_DAYS_AHEAD))
        return next(day for day in days if day.weekday() in driven)

    def _report(
        self,
        symptom: str,
        tag: str,
        ago_h: float,
        source: str,
        said: str,
        column: str = "",
        **more: Any,
    ) -> Ticket:
        machine = self._books.machines[tag]
        inside = source in (DESK, DRIVER)
        return reporting.report(
            machine=machine,
            symptom=Symptom.objects.get(code=symptom),
            column=self._columns[tag, column] if column else None,
            source=source,
            said=said,
            actor=self._books.dispatcher if inside or source == HOST else None,
            now=self._ago(ago_h),
            **more,
        ).ticket

    def _give(self, ticket: Ticket, tag: str, ago_h: float) -> Person:
        driver = self._books.people[self._books.business.machine(tag).driver_email]
        moves.give(ticket=ticket, to=driver, actor=self._books.dispatcher, now=self._ago(ago_h))
        return driver

    def _mend(
        self,
        ticket: Ticket,
        tag: str,
        ago_h: float,
        cause: str,
        work: str,
        tested: int,
        *,
        part: str = "",
        left: closing.ColumnLeft | None = None,
    ) -> None:
        driver = self._give(ticket, tag, ago_h + 3)
        moves.on_site(ticket=ticket, actor=driver, now=self._ago(ago_h + 0.4))
        email = self._books.business.machine(tag).driver_email
        vehicle = self._standing.drivers[email].vehicle
        closing.close(
            ticket=ticket,
            cause=Cause.objects.get(code=cause),
            work=work,
            minutes=18,
            parts=[self._workshop.part(part)] if part else [],
            place=vehicle.truck if part and vehicle is not None else None,
            test_vends_made=tested,
            test_vends_passed=tested,
            left=left,
            actor=driver,
            now=self._ago(ago_h),
        )

    def _ago(self, hours: float) -> datetime:
        return self._now - timedelta(hours=hours)


def _is_shut(tag: str) -> bool:
    shut = CASES.get(tag, ORDINARY).shut
    return shut is not None and not shut.until
