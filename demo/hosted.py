"""What hosts of the invented business are promised, and the statements they had."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from demo.books import Books
from fleet.sales.actions.agreements import save_agreement
from people.models import Person
from service.compliance.statements import run_statements

# site: rhythm, terms. One with steps and a minimum, one by class, one of everything.
TERMS: dict[str, tuple[str, dict[str, Any]]] = {
    "S01": (
        "monthly",
        {
            "steps": [["0", "8"], ["600", "11"], ["1200", "14"]],
            "minimum": "75",
            "base": ["tax", "refunds"],
        },
    ),
    "S03": ("monthly", {"shares": {"drink": "12.5", "": "7"}, "base": ["tax", "deposit"]}),
    "S05": ("quarterly", {"shares": {"": "10"}}),
}


class Hosted:
    """Agreements from the first day on, and last month's statements."""

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
                    "starts_on": self._first.replace(day=1),
                    "rhythm": rhythm,
                    "terms": terms,
                },
                actor=self._accountant,
                now=self._books.now,
            )

    def state(self) -> int:
        """Issue last month's statements; how many."""
        last = self._until.replace(day=1) - timedelta(days=1)
        if last < self._first:
            return 0
        return len(
            run_statements(rhythm="monthly", day=last, actor=self._accountant, now=self._books.now)
        )

    @property
    def _accountant(self) -> Person:
        return next(one for one in self._books.people.values() if "accountant" in one.roles)
