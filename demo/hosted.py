"""What hosts of the invented business are promised, and the statements they had and were paid."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from demo.books import Books
from demo.business.people import EAST
from fleet.sales.actions import commission
from fleet.sales.actions.agreements import calendar_period, save_agreement
from fleet.sales.models import Agreement, Statement
from people.models import Person
from service.compliance.statements import run_statements

MONTHLY, QUARTERLY = Agreement.Rhythm.MONTHLY, Agreement.Rhythm.QUARTERLY
STEPS_AND_MINIMUM: dict[str, Any] = {
    "steps": [["0", "8"], ["600", "11"], ["1200", "14"]],
    "minimum": "75",
    "base": ["tax", "refunds"],
}
# site: rhythm, terms. One with steps and a minimum, some by class, one with a minimum alone.
TERMS: dict[str, tuple[str, dict[str, Any]]] = {
    "S01": (MONTHLY, STEPS_AND_MINIMUM),
    "S03": (MONTHLY, {"shares": {"drink": "12.5", "": "7"}, "base": ["tax", "deposit"]}),
    "S05": (QUARTERLY, {"shares": {"": "10"}}),
    "S06": (MONTHLY, {"shares": {"": "15"}, "base": ["tax"]}),
    "S09": (QUARTERLY, {"minimum": "60"}),
    "S11": (MONTHLY, {"shares": {"drink": "6", "": "4"}}),
    "S22": (MONTHLY, {"shares": {"": "9"}, "minimum": "40", "base": ["tax", "refunds"]}),
    "S33": (MONTHLY, {"steps": [["0", "5"], ["2000", "7"]], "marginal": False, "base": ["tax"]}),
}
FIRST_MINUTES = time(10)
ISSUED_AFTER = timedelta(days=3)
PAID_AFTER = timedelta(days=9)
# Of the last month's statements these are paid already.
PAID_SOON = ("S06", "S33")
CORRECTED = "S11"


class Hosted:
    """Agreements from the first day on, and a statement of each month that is over."""

    def __init__(self, books: Books, until: date, weeks: int) -> None:
        self._books, self._until = books, until
        self._first = until - timedelta(weeks=weeks)

    def agree(self) -> None:
        """Before anything was sold."""
        for code, (rhythm, terms) in TERMS.items():
            save_agreement(
                agreement=None,
                changes={
                    "site": self._books.sites[code],
                    "starts_on": self._first,
                    "rhythm": rhythm,
                    "terms": terms,
                },
                actor=self._accountant,
                now=self._books.now,
            )

    def state(self) -> int:
        """Issue the statements of every period that is over; how many. The older ones are paid."""
        issued: list[Statement] = []
        for rhythm in (QUARTERLY, MONTHLY):
            starts, ends = calendar_period(rhythm, self._first)
            while ends <= self._until:
                at = self._at(ends + ISSUED_AFTER)
                issued += run_statements(rhythm=rhythm, day=starts, actor=self._accountant, now=at)
                starts, ends = calendar_period(rhythm, ends)
        last = max((one.ends_on for one in issued), default=self._until)
        soon = {self._books.sites[code].pk for code in PAID_SOON}
        for statement in issued:
            if statement.ends_on < last or statement.site_id in soon:
                self._send_and_pay(statement)
        self._correct(issued)
        return len(issued)

    def _send_and_pay(self, statement: Statement) -> None:
        at = self._at(statement.ends_on + ISSUED_AFTER)
        commission.send(statement=statement, actor=self._accountant, now=at)
        if statement.due > 0:
            paid = self._at(statement.ends_on + PAID_AFTER)
            commission.pay(
                statement=statement,
                amount=statement.due,
                paid_on=paid.date(),
                reference=f"transfer {statement.number:04d}",
                actor=self._accountant,
                now=paid,
            )

    def _correct(self, issued: list[Statement]) -> None:
        """A refund of an old statement that was told too late; the next one carries it."""
        site = self._books.sites[CORRECTED].pk
        old = min((one for one in issued if one.site_id == site), key=_starts, default=None)
        if old is not None:
            commission.correct(
                statement=old,
                amount=Decimal("-3.20"),
                reason="refunds that the host paid out and told of later",
                actor=self._accountant,
                now=self._books.now,
            )

    def _at(self, day: date) -> datetime:
        """The morning of a day, or this moment where that is still to come."""
        at = datetime.combine(day, FIRST_MINUTES, tzinfo=ZoneInfo(EAST))
        return min(at, self._books.now)

    @property
    def _accountant(self) -> Person:
        return next(one for one in self._books.people.values() if "accountant" in one.roles)


def _starts(statement: Statement) -> tuple[date, int]:
    return statement.starts_on, statement.pk
