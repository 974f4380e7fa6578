"""Demand as a fit that is sure of itself would have left it."""

from fleet.compute.demand import ColumnModel, moment_number
from fleet.demand.models import ColumnDemand, FitRun
from fleet.machines.models import Product
from people.models import Business
from tests.world import World


def foretell(world: World, product: Product, a_day: float) -> None:
    """Poisson sales of so many every day, as a fit that is sure of itself would say."""
    local = world.now.astimezone(Business.the().time_zone)
    run = FitRun.objects.create(
        day=local.date(), started_at=world.now, finished_at=world.now, state="done"
    )
    model = ColumnModel(
        shape=a_day * 1e6,
        exposure_days=1e6,
        dispersion=1.0,
        weekday=(1.0,) * 7,
        trend_a_week=0.0,
        trend_damping=0.0,
        fitted_at=moment_number(local),
        half_life_days=60.0,
        own_exposure=90.0,
    )
    for set_up in product.set_ups.filter(ends_at__isnull=True):
        ColumnDemand.objects.create(
            column=set_up.column,
            product=product,
            run=run,
            fitted_at=world.now,
            fitted_through=local.date(),
            basis="reads",
            intervals=30,
            units=300,
            dry_intervals=0,
            a_day=a_day,
            model=model.as_json(),
        )
