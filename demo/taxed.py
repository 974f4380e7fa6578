"""Sales tax of the invented business: two states, counties, a rate that changes, returns filed.

The counties and their rates are invented; the rules are those of the packs.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from functools import partial
from typing import Any
from zoneinfo import ZoneInfo

from demo.books import Books
from demo.business.machines import CASH, CASHLESS, asset_tag
from demo.business.people import EAST
from demo.simulator import SimulatedFile
from fleet.machines.actions import machines
from people.models import Person
from service.compliance.actions import filing, tax_rules
from service.compliance.models import Filing, Jurisdiction, TaxRule
from service.compliance.sums.gathering import Period

STATES = ("FL", "AL")
LATE_DAYS = 6
"""So long before the end of a period the reads of one machine stayed away."""
FILED_AFTER = timedelta(days=1)
CAME_AFTER = timedelta(days=2)
AMENDED_AFTER = timedelta(days=4)
LEAST_DAYS = 8
"""A period is filed only where so much of it was simulated."""


ONLY: dict[tuple[str, ...], str] = {(CASH,): "cash", (CASHLESS,): "cashless"}


@dataclass(frozen=True)
class Step:
    """A return filed or amended, at its moment, by the books of that moment."""

    at: datetime
    does: Callable[[], Filing]


class Taxed:
    """What the tax is reckoned by, and the returns of a quarter here and of months there.

    One machine of each state had no reads in the last days of a filed period; when they come, the
    one return is amended and the other waits for somebody to do it.
    """

    def __init__(self, books: Books, until: date, weeks: int) -> None:
        self._books = books
        self._first = until - timedelta(weeks=weeks)
        self._until, self._now = until, _morning(until)
        self._filed: dict[tuple[str, Period], Filing] = {}
        self._quarter = _calendar(until, 3)
        self._over = [
            (state, period)
            for state, months in (("FL", 3), ("AL", 1))
            for period in self._periods(months)
        ]

    def write(self) -> None:
        """Rules, places, rates and what is owed, before anything was sold."""
        given: dict[str, Any] = {"actor": self._accountant, "now": self._books.now}
        tax_rules.load_packs(states=STATES, **given)
        # Its question has an answer here, so that sales at schools are taxed like others.
        tax_rules.remove_rule(
            rule=TaxRule.objects.get(key="fl-school", replaced_by=None, removed_at=None),
            why="none of our machines at schools stands in a students' lunchroom",
            **given,
        )
        places = {
            code: tax_rules.save_jurisdiction(
                changes={"code": code, "name": name, "kind": kind, "state": code[:2]}, **given
            )
            for code, name, kind in (
                ("FL", "Florida", "state"),
                ("FL-00-90001", "Tallis County", "county"),
                ("AL", "Alabama", "state"),
                ("AL-00-90002", "Brannock County", "county"),
            )
        }
        long_ago = date(2020, 1, 1)
        for code, rate in (("FL", "0.06"), ("AL", "0.04"), ("AL-00-90002", "0.02")):
            self._rate(places[code], rate, long_ago)
        self._rate(places["FL-00-90001"], "0.01", long_ago)
        # In the middle of the quarter that is open, so that its intervals are cut.
        self._rate(places["FL-00-90001"], "0.015", self._quarter.starts_on + timedelta(days=31))
        for site in self._books.sites.values():
            county = places["FL-00-90001" if site.state == "FL" else "AL-00-90002"]
            tax_rules.place_site(site=site, jurisdiction=county, **given)
        for state, every, months in (("FL", "quarter", 3), ("AL", "month", 1)):
            over = [period.starts_on for of, period in self._over if of == state]
            begins = _calendar(self._until, months).starts_on
            tax_rules.save_duty(
                changes={
                    "state": state,
                    "every": every,
                    "due_day": 20,
                    "registration": f"{state}-0000-0000",
                    "first_period": min([*over, begins]),
                },
                **given,
            )
        self._ways_of_paying()

    def held_back(self, files: Iterable[SimulatedFile]) -> list[SimulatedFile]:
        """The files in the order of delivery, those of one machine a state late by some days."""
        late: dict[str, tuple[datetime, datetime]] = {}
        for state, tag in (("FL", asset_tag("S01", "A")), ("AL", asset_tag("S37", "B"))):
            period = next((period for of, period in self._over if of == state), None)
            if period is not None:
                comes = self._filed_at(period) + CAME_AFTER
                late[tag] = (_morning(period.ends_on) - timedelta(days=LATE_DAYS), comes)
        found = []
        for file in files:
            if file.machine_tag in late:
                since, comes = late[file.machine_tag]
                if since < file.delivered_at < comes:
                    found.append(replace(file, delivered_at=comes))
                    continue
            found.append(file)
        return sorted(found, key=lambda file: (file.delivered_at.timestamp(), file.name))

    def steps(self) -> list[Step]:
        """Returns filed as the books stood then, and the one that was amended; in their order."""
        found = [
            Step(self._filed_at(period), partial(self._file, state, period))
            for state, period in self._over
        ]
        first = next((one for one in self._over if one[0] == "AL"), None)
        if first is not None and self._filed_at(first[1]) + AMENDED_AFTER < self._now:
            at = self._filed_at(first[1]) + AMENDED_AFTER
            found.append(Step(at, partial(self._amend, first, at)))
        return sorted(found, key=lambda step: step.at)

    def _periods(self, months: int) -> Iterator[Period]:
        """Months or quarters that are over and were simulated for long enough, the first first."""
        period = _calendar(self._first, months)
        while self._filed_at(period) + CAME_AFTER < self._now:
            if period.ends_on - timedelta(days=LEAST_DAYS) > self._first:
                yield period
            period = _calendar(period.ends_on, months)

    def _file(self, state: str, period: Period) -> Filing:
        filed = filing.file_period(
            state=state,
            period=period,
            actor=self._accountant,
            now=self._filed_at(period),
            reference=f"{state}-{period.starts_on:%Y%m}",
        )
        self._filed[state, period] = filed
        return filed

    def _amend(self, of: tuple[str, Period], at: datetime) -> Filing:
        return filing.amend(
            filing=self._filed[of],
            actor=self._accountant,
            now=at,
            note="The modem of one machine was silent at the end of the month; its reads came now.",
            reference=f"{self._filed[of].reference}-A",
        )

    def _filed_at(self, period: Period) -> datetime:
        return _morning(period.ends_on) + FILED_AFTER

    def _ways_of_paying(self) -> None:
        for machine in self._books.business.machines:
            takes = ONLY.get(machine.payments, "all")
            machines.set_ways_of_paying(
                machine=self._books.machines[machine.asset_tag],
                takes=takes,
                starts_on=machine.placed_on,
                actor=self._books.dispatcher,
                now=self._books.now,
            )

    @property
    def _accountant(self) -> Person:
        return next(one for one in self._books.people.values() if "accountant" in one.roles)

    def _rate(self, place: Jurisdiction, rate: str, begins: date) -> None:
        tax_rules.save_rate(
            jurisdiction=place,
            changes={"general": Decimal(rate), "begins_on": begins, "citation": "invented"},
            actor=self._accountant,
            now=self._books.now,
        )


def _calendar(day: date, months: int) -> Period:
    """The month or quarter of the calendar that a day lies in."""
    first = date(day.year, (day.month - 1) // months * months + 1, 1)
    year, month = divmod(first.year * 12 + first.month - 1 + months, 12)
    return Period(first, date(year, month + 1, 1))


def _morning(day: date) -> datetime:
    return datetime.combine(day, time(9), tzinfo=ZoneInfo(EAST))
