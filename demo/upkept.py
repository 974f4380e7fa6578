"""Maintenance of the last year, done at visits as plans ask; some of it is due again, or late."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from random import Random

from demo.books import Books
from demo.simulator.cases import CASES
from demo.simulator.truth import Truth, Visit
from service.upkeep.actions import due
from service.upkeep.actions.past import PastWork, write_down
from service.upkeep.models import MaintenancePlan, Reading
from service.upkeep.queries.turns import applies

SEED = 20_260_517
# Of its interval, so much had gone by at the end since the work was last done: few are late.
GONE_BY = (0.05, 1.04)
AFTER_ARRIVING = timedelta(minutes=4)
COLD_C, WARM_C = (2.4, 4.4), (5.6, 6.8)


class Upkept:
    """Writes what was done, then works out what is due."""

    def __init__(self, books: Books, truth: Truth) -> None:
        self._books = books
        self._truth = truth
        self._random = Random(f"{SEED}")

    def write(self) -> int:
        """How many works were written down."""
        now = datetime.now(UTC)
        works = list(self._works(now))
        write_down(works=works, actor=self._books.dispatcher, now=now)
        due.work_out(now=now)
        return len(works)

    def _works(self, now: datetime) -> Iterator[PastWork]:
        plans = list(MaintenancePlan.objects.filter(active=True, every_days__isnull=False))
        for tag, machine in self._books.machines.items():
            for plan in plans:
                if not applies(plan, machine) or plan.every_days is None:
                    continue
                every = timedelta(days=plan.every_days)
                last = now - every * self._random.uniform(*GONE_BY)
                # The last and the one before it; nobody looked further back into the notebooks.
                for at in (last - every, last):
                    yield self._work(plan, tag, at)

    def _work(self, plan: MaintenancePlan, tag: str, at: datetime) -> PastWork:
        visit = _nearest(self._truth[tag].visits, at)
        done_at = at if visit is None else visit.at + AFTER_ARRIVING
        driver = self._books.business.machine(tag).driver_email
        return PastWork(
            plan=plan,
            machine=self._books.machines[tag],
            by=self._books.people[driver],
            done_at=done_at,
            minutes=max(3, round(plan.minutes * self._random.uniform(0.7, 1.4))),
            readings=self._readings(plan, tag),
        )

    def _readings(self, plan: MaintenancePlan, tag: str) -> dict[str, Decimal]:
        random = self._random
        warm = tag in CASES and CASES[tag].warm_since is not None
        values = {
            Reading.What.CABINET_C: random.uniform(*(WARM_C if warm else COLD_C)),
            Reading.What.COMPRESSOR_A: random.uniform(4.1, 5.6),
            Reading.What.LEVEL_MM_M: random.uniform(0.5, 4.0),
        }
        return {
            one["what"]: Decimal(f"{values[one['what']]:.1f}")
            for one in plan.readings_asked
            if one["what"] in values
        }


def _nearest(visits: list[Visit], at: datetime) -> Visit | None:
    """The visit at which it was done, where `at` lies in the simulated weeks."""
    near = [one for one in visits if abs(one.at - at) < timedelta(days=4)]
    return min(near, key=lambda one: abs(one.at - at), default=None)
