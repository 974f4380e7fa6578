"""The watch looks: what it finds is dismissed, mended, or waits for somebody."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TypeVar

from demo.books import Books
from demo.business.machines import asset_tag
from demo.mended import columns_of
from demo.standing import Standing
from demo.workshop import Workshop
from fleet.machines.models import SetUp
from service.tickets.actions import closing, moves
from service.tickets.models import Cause, Symptom
from service.watch.actions import findings, looking, rules
from service.watch.actions.verdicts import take_verdicts
from service.watch.models import Finding, Look

Kind, Reason = Finding.Kind, Finding.Reason
# Looked at this long ago; since then some of it was seen to.
LOOKED = timedelta(hours=3)
A_WHILE = timedelta(minutes=20)


@dataclass(frozen=True)
class Dismissed:
    """A finding that somebody looked into and put aside."""

    kind: str
    tag: str
    column: str
    reason: str
    note: str


@dataclass(frozen=True)
class Seen:
    """A finding that became a ticket, and was closed where a cause is named."""

    kind: str
    tag: str
    column: str
    cause: str = ""
    work: str = ""
    part: str = ""
    tested: int = 0


One = TypeVar("One", Dismissed, Seen)

DISMISSED = (
    Dismissed(
        Kind.SILENT,
        asset_tag("S12", "S"),
        "B3",
        Reason.NOTHING_WRONG,
        "Full, in date, and it vends: the works' canteen sells the same now.",
    ),
    Dismissed(Kind.CLOCK, asset_tag("S14", "A"), "", Reason.KNOWN, "New battery is ordered."),
    Dismissed(
        Kind.SOLD_OUT,
        "",
        "",
        Reason.TOO_SMALL,
        "One visit more a week would cost more than it sells.",
    ),
)
SEEN = (
    Seen(
        Kind.TWO_FOR_ONE,
        asset_tag("S12", "C"),
        "6",
        "depth_program",
        "Board stood at one deep, loaded two deep; set right and tried front and rear.",
        tested=6,
    ),
    Seen(
        Kind.SILENT,
        asset_tag("S11", "S"),
        "D3",
        "motor",
        "Spiral did not turn; new motor.",
        "motor",
        5,
    ),
    Seen(
        Kind.SILENT,
        asset_tag("S31", "C"),
        "1",
        "sells_less",
        "Full, in date, vends; nobody asks for it any more.",
        tested=3,
    ),
    Seen(Kind.SILENT, asset_tag("S28", "C"), "2"),
    Seen(Kind.PRICE, asset_tag("S34", "C"), "4"),
    Seen(Kind.POWER, asset_tag("S36", "A"), ""),
)


class Watched:
    """Lets the watch look at books that hold everything, and does what people did about it."""

    def __init__(self, books: Books, standing: Standing, workshop: Workshop) -> None:
        self._books = books
        self._standing = standing
        self._workshop = workshop
        self._columns = columns_of(books)

    def write(self) -> Look:
        """The look, after which some of what it found is over."""
        now = datetime.now(UTC)
        changes = {
            "kind": Kind.WARM,
            "symptom": Symptom.objects.get(code="warm"),
            "strength": 2.0,
            "active": True,
        }
        rules.save_rule(changes=changes, actor=self._books.owner, now=now - 2 * LOOKED)
        look = looking.look(now=now - LOOKED, actor=self._books.dispatcher)
        for dismissed in DISMISSED:
            self._each(dismissed, self._dismiss, now)
        for seen in SEEN:
            self._each(seen, self._see_to, now)
        take_verdicts(now=now)
        return look

    def _each(
        self, one: One, does: Callable[[One, Finding, datetime], None], now: datetime
    ) -> None:
        """Do it to the finding that is meant, if the watch has it: the strongest of its kind."""
        rows = Finding.objects.filter(kind=one.kind, state=Finding.State.OPEN)
        if one.tag:
            rows = rows.filter(machine=self._books.machines[one.tag])
        if one.column:
            rows = rows.filter(column=self._columns[one.tag, one.column])
        finding = rows.order_by("-strength", "pk").first()
        if finding is not None:
            does(one, finding, now)

    def _dismiss(self, one: Dismissed, finding: Finding, now: datetime) -> None:
        findings.dismiss(
            finding=finding,
            reason=one.reason,
            note=one.note,
            actor=self._books.dispatcher,
            now=now - LOOKED + 2 * A_WHILE,
        )

    def _see_to(self, one: Seen, finding: Finding, now: datetime) -> None:
        began = now - LOOKED + A_WHILE
        driver_email = self._books.business.machine(one.tag).driver_email
        driver = self._books.people[driver_email]
        ticket = findings.to_ticket(finding=finding, actor=self._books.dispatcher, now=began)
        if not one.cause or not ticket.is_open:
            return
        moves.give(ticket=ticket, to=driver, actor=self._books.dispatcher, now=began + A_WHILE / 4)
        moves.on_site(ticket=ticket, actor=driver, now=began + 3 * A_WHILE)
        truck = self._standing.drivers[driver_email].vehicle
        closing.close(
            ticket=ticket,
            cause=Cause.objects.get(code=one.cause),
            work=one.work,
            minutes=20,
            parts=[self._workshop.part(one.part)] if one.part else [],
            place=truck.truck if one.part and truck is not None else None,
            test_vends_made=one.tested,
            test_vends_passed=one.tested,
            left=self._left(one),
            actor=driver,
            now=began + 4 * A_WHILE,
        )

    def _left(self, one: Seen) -> closing.ColumnLeft | None:
        """A depth program that was put right: the column is left as the books say."""
        if one.cause != "depth_program":
            return None
        column = self._columns[one.tag, one.column]
        now_set = SetUp.objects.get(column=column, ends_at__isnull=True)
        return closing.ColumnLeft(
            column=column,
            deep=now_set.deep,
            price=now_set.price,
            front_setting=now_set.front_setting,
            rear_setting=now_set.rear_setting,
            program=now_set.program,
            orientation=now_set.orientation,
        )
