"""What the business owes to authorities: done with its papers, due soon, and late."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, timedelta
from typing import Any

from demo.books import Books
from people.papers import Paper, Section, as_pdf
from people.roles import Role
from service.compliance.actions import duties, duty_rules, duty_turns
from service.compliance.actions.duties import Seen
from service.compliance.actions.evidence import GivenFile
from service.compliance.models import Duty
from service.compliance.models.duties import DutyKind, Subject

YEAR = 365
# Of the machines a rule is for, these many at the end of the list were seen to too long ago.
LATE_OF_A_RULE = 2
# On so many machines the notice is still to be put.
WITHOUT_NOTICE = 3


class Owed:
    """Takes the rules in, and writes down what was done about them."""

    def __init__(self, books: Books, until: date) -> None:
        self._books, self._until = books, until
        self._now = books.now
        self._accountant = next(p for p in books.people.values() if p.has_role(Role.ACCOUNTANT))

    def write(self) -> int:
        """How many duties are open in the end."""
        duty_rules.load_packs(actor=self._books.owner, now=self._now)
        duty_turns.work_out(now=self._now)
        self._by_hand()
        self._paper(
            "us-liability-insurance",
            Seen(self._ago(335), valid_until=self._ago(-29), number="LI-20417"),
            "Certificate of liability insurance",
        )
        self._paper(
            "fl-registration-by-county",
            Seen(self._ago(2 * YEAR), number="FL-0000-0000"),
            "Certificate of registration",
        )
        notices = self._open("fl-machine-notice")
        self._done(
            notices[:-WITHOUT_NOTICE], Seen(self._ago(120), note="on the door, at eye level")
        )
        for key, days in (("us-food-shutoff-test", 210), ("us-food-thermometer-checked", 90)):
            found = self._open(key)
            self._done(found[:-LATE_OF_A_RULE], Seen(self._ago(days)))
            self._done(found[-LATE_OF_A_RULE:], Seen(self._ago(YEAR + 6)))
        return Duty.objects.filter(state=Duty.State.OPEN).count()

    def _by_hand(self) -> None:
        """What no pack knows of, as counties and hosts ask for it. One of them is late."""
        for changes in (
            {
                "kind": DutyKind.PERMIT,
                "subject": Subject.SITE,
                "site": self._books.sites["S30"],
                "title": "Yearly permit for food sold in a care home",
                "authority": "Tallis County Health Department",
                "due_on": self._ago(3),
                "every_months": 12,
                "owner": self._books.dispatcher,
            },
            {
                "kind": DutyKind.INSPECTION,
                "subject": Subject.BUSINESS,
                "title": "Fire extinguishers of both stores",
                "authority": "The fire marshal",
                "due_on": self._ago(-12),
                "every_months": 12,
                "owner": self._books.dispatcher,
            },
            {
                "kind": DutyKind.RECORDS,
                "subject": Subject.SITE,
                "site": self._books.sites["S33"],
                "title": "Certificate of insurance for the mill",
                "authority": "The host, by the agreement",
                "due_on": self._ago(-40),
                "every_months": 12,
                "owner": self._accountant,
            },
        ):
            duties.save_duty(changes=changes, actor=self._books.owner, now=self._now)

    def _paper(self, key: str, seen: Seen, title: str) -> None:
        """Done, with the paper that proves it."""
        made = as_pdf(
            Paper(
                name=f"{key}-{seen.done_on}",
                title=title,
                under=[self._books.business.name, f"Number {seen.number}"],
                sections=[Section(said=[f"Given on {seen.done_on}. Invented, as all of it here."])],
            )
        )
        self._done(self._open(key), seen, GivenFile(made.name, made.content))

    def _done(self, rows: Iterable[Duty], seen: Seen, file: GivenFile | None = None) -> None:
        found = list(rows)
        if found:
            given: dict[str, Any] = {"actor": self._books.dispatcher, "now": self._now}
            duties.record(duties=found, seen=seen, file=file, **given)

    def _open(self, key: str) -> list[Duty]:
        """The open turns of a rule, by machine."""
        rows = Duty.objects.filter(rule__key=key, state=Duty.State.OPEN)
        return list(rows.order_by("machine__asset_tag", "pk"))

    def _ago(self, days: int) -> date:
        return self._until - timedelta(days=days)
