"""Searches for plans that the worker makes for somebody at the desk, and how far each is.

What a search found stands in the database; here is only what the page that waits for it shows.
"""

import uuid
from dataclasses import asdict, dataclass, replace
from datetime import date, datetime, timedelta

from django.core.cache import cache

from people.models import Person

KEPT_S = 24 * 3600
LOST_AFTER = timedelta(minutes=15)
WHAT = {"day": "the day", "week": "the week", "rest": "the rest of the day"}


@dataclass(frozen=True)
class Search:
    """One search: what for, since when, and what came of it."""

    key: str
    what: str
    on: date
    person: int
    begun_at: datetime
    state: str = "waiting"
    said: str = ""
    plan: int | None = None

    @property
    def words(self) -> str:
        return WHAT[self.what]

    @property
    def is_over(self) -> bool:
        return self.state in {"done", "refused"}

    def is_lost(self, now: datetime) -> bool:
        """Whether nothing more is to be expected of it."""
        return not self.is_over and now - self.begun_at > LOST_AFTER


def begin(what: str, on: date, person: Person, now: datetime) -> Search:
    """Write a search down; whoever does it is told its key."""
    search = Search(uuid.uuid4().hex, what, on, person.pk, now)
    _keep(search)
    return search


def find(key: str) -> Search | None:
    found = cache.get(f"search:{key}")
    return None if found is None else Search(**found)


def tell(search: Search, state: str, said: str = "", plan: int | None = None) -> Search:
    """Say how far it is."""
    told = replace(search, state=state, said=said, plan=plan)
    _keep(told)
    return told


def _keep(search: Search) -> None:
    cache.set(f"search:{search.key}", asdict(search), KEPT_S)
