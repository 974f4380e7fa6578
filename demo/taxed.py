"""Sales tax of the invented business: two states, counties, a rate that changes, a return filed.

The counties and their rates are invented; the rules are those of the packs.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from demo.books import Books
from demo.business.people import EAST
from demo.simulator import SimulatedFile
from people.models import Person
from service.compliance.actions import filing, tax_rules
from service.compliance.models import Filing, Jurisdiction
from service.compliance.sums.gathering import Period

STATES = ("FL", "AL")
LATE = timedelta(days=2)
"""After the return was filed: when a read of the quarter reaches the business after all."""


class Taxed:
    """What the tax of the business is reckoned by, and the quarter that is filed already."""

    def __init__(self, books: Books, until: date) -> None:
        self._books = books
        self.open = _quarter(until)
        self.filed = _quarter(self.open.starts_on - timedelta(days=1))
        self.filed_at = _morning(self.open.starts_on + timedelta(days=1))
        self.is_filed = self.filed_at + LATE < _morning(until)

    def write(self) -> None:
        """Rules, places, rates and what is owed, before anything was sold."""
        given: dict[str, Any] = {"actor": self._accountant, "now": self._books.now}
        tax_rules.load_packs(states=STATES, **given)
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
        self._rate(places["FL-00-90001"], "0.015", self.open.starts_on + timedelta(days=31))
        for site in self._books.sites.values():
            county = places["FL-00-90001" if site.state == "FL" else "AL-00-90002"]
            tax_rules.place_site(site=site, jurisdiction=county, **given)
        for state in STATES:
            tax_rules.save_duty(
                changes={
                    "state": state,
                    "every": "quarter",
                    "due_day": 20,
                    "registration": f"{state}-0000-0000",
                    "first_period": self.filed.starts_on,
                },
                **given,
            )

    def held_back(self, files: Iterable[SimulatedFile]) -> list[SimulatedFile]:
        """The files in the order of delivery, one of the filed quarter's last days come late."""
        found = list(files)
        if self.is_filed:
            ends = _morning(self.filed.ends_on)
            last = [
                n
                for n, file in enumerate(found)
                if ends - timedelta(days=5) < file.delivered_at < ends
                and self._books.business.machine(file.machine_tag).site_code == self._site
            ]
            if last:
                late = found[last[-1]]
                found[last[-1]] = replace(late, delivered_at=self.filed_at + LATE)
        return sorted(found, key=lambda file: (file.delivered_at.timestamp(), file.name))

    def file(self) -> list[Filing]:
        """The quarter before this one, as the books stood two days into it."""
        if not self.is_filed:
            return []
        return [
            filing.file_period(
                state=state,
                period=self.filed,
                actor=self._accountant,
                now=self.filed_at,
                reference=f"{state}-{self.filed.starts_on:%Y%m}",
            )
            for state in STATES
        ]

    @property
    def _site(self) -> str:
        return "S01"

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


def _quarter(day: date) -> Period:
    first = date(day.year, (day.month - 1) // 3 * 3 + 1, 1)
    year, month = divmod(first.year * 12 + first.month - 1 + 3, 12)
    return Period(first, date(year, month + 1, 1))


def _morning(day: date) -> datetime:
    return datetime.combine(day, time(9), tzinfo=ZoneInfo(EAST))
