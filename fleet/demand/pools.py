"""Where a column starts that has sold nothing of its product yet."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Self

from fleet.compute.demand import ColumnModel, Pool, pool_model

from .models import FitChunk

#: Where nothing was ever fitted: half a unit a day, and hardly any trust in it. A guess of our
#: own, which the first sales outweigh.
FIRST_GUESS: Final = ColumnModel(
    shape=1.0,
    exposure_days=2.0,
    dispersion=1.2,
    weekday=(1.0,) * 7,
    trend_a_week=0.0,
    trend_damping=0.7,
    fitted_at=0.0,
    half_life_days=0.0,
    own_exposure=0.0,
)


@dataclass(frozen=True)
class Pools:
    """The pool of each region as last fitted, by the machines it was fitted on."""

    by_machine: dict[int, Pool]
    latest: Pool | None

    @classmethod
    def for_machines(cls, machines: Sequence[int]) -> Self:
        """The latest pool that each machine was in; for a new machine the latest there is."""
        wanted = set(machines)
        found: dict[int, Pool] = {}
        latest: Pool | None = None
        rows = (
            FitChunk.objects.filter(state=FitChunk.State.DONE, run__in=_last_runs())
            .exclude(pools={})
            .order_by("-finished_at", "-pk")
            .values_list("machines", "pools")
        )
        for fitted_on, kept in rows:
            pool = Pool.from_json(kept)
            latest = latest or pool
            for machine in wanted.intersection(fitted_on):
                found.setdefault(machine, pool)
        return cls(found, latest)

    def model(self, machine: int | None, product: int | None) -> ColumnModel:
        """What a column of this machine is taken to sell of this product, until it has sold."""
        pool = self.latest if machine is None else self.by_machine.get(machine, self.latest)
        return FIRST_GUESS if pool is None else pool_model(pool, machine, product)

    def knows(self, machine: int, product: int) -> tuple[bool, bool]:
        """Whether the pool has sales of the machine, and of the product."""
        pool = self.by_machine.get(machine, self.latest)
        if pool is None:
            return False, False
        return machine in pool.machine, product in pool.product


def _last_runs() -> list[int]:
    """The last runs that ended: the last alone would lack what failed in it."""
    rows = FitChunk.objects.filter(state=FitChunk.State.DONE).order_by("-run")
    return list(rows.values_list("run", flat=True).distinct()[:3])
