"""What the service does of itself every night, done once after the load, so that pages show it.

Counts are settled, demand is fitted, visits are learned from, and the next day is planned.
"""

from __future__ import annotations

import time
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta

from demo.beside import beside
from demo.books import Books
from fleet.demand.actions import runs as fits
from fleet.demand.actions.refit import fit_chunk
from fleet.machines.models import Machine
from fleet.sales.stock import settle_counts
from people.models import Business
from service.runs.actions import learning, plans
from service.runs.queries.calendar import Calendar

MOST_DAYS_AHEAD = 7


def reckon(books: Books) -> None:
    """The reckoning of the night, with what was done and how long it took printed."""
    said("Settled the counts of", _settle(books), "machines")
    said("Fitted", _fit(books), "columns")
    now = datetime.now(UTC)
    learned = learning.learn_service_times(now=now)
    learning.learn_travel(now=now)
    said("Learned the time of visits at", iter((learned,)), "machines")


def plan() -> None:
    """The next day, for which open tickets and what is due count."""
    said("Planned", _plan(), "runs")


def _settle(books: Books) -> Iterable[int]:
    """Machine by machine; they do not touch each other, so half of them in another process."""
    machines = list(books.machines.values())
    with beside(lambda: _settle_these(machines[::2])):
        _settle_these(machines[1::2])
    yield len(machines)


def _settle_these(machines: Iterable[Machine]) -> None:
    for machine in machines:
        settle_counts(machine, datetime.now(UTC))


def _fit(books: Books) -> Iterable[int]:
    run = fits.start(actor=books.dispatcher, now=datetime.now(UTC))
    for chunk in fits.due(now=datetime.now(UTC)):
        fit_chunk(chunk_id=chunk, clock=lambda: datetime.now(UTC))
    yield run.columns


def _plan() -> Iterable[int]:
    """The next day on which anybody drives."""
    now = datetime.now(UTC)
    tomorrow = now.astimezone(Business.the().time_zone).date() + timedelta(days=1)
    calendar = Calendar(tomorrow, tomorrow + timedelta(days=MOST_DAYS_AHEAD))
    for ahead in range(MOST_DAYS_AHEAD):
        day = tomorrow + timedelta(days=ahead)
        if calendar.duty(day).on:
            yield plans.plan_day(date=day, actor=None, now=now).runs.count()
            return


def said(verb: str, counts: Iterable[int], what: str) -> None:
    """Print how much was done, of what, and how long it took."""
    started = time.perf_counter()
    total = sum(counts)
    print(f"{verb} {total} {what} in {time.perf_counter() - started:.0f} s", flush=True)
