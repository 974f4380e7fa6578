"""The load list: packed where the need is known, carried at a service level where it is not."""

from collections import defaultdict
from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import Max, Sum

from fleet.compute.restock.truck import carry
from fleet.demand.queries.needs import NeedLine, machine_needs
from fleet.inventory.models import StockLevel
from fleet.machines.models import Product
from fleet.sales.models import AuditRead
from people import audit
from people.errors import Unable
from people.models import Person

from ..models import LoadLine, Run, RunAssumptions, Stop

Basis = LoadLine.Basis


class LoadingHasBegun(Unable):
    code = "loading_has_begun"


@transaction.atomic
def make_load_list(*, run: Run, actor: Person | None, now: datetime) -> list[LoadLine]:
    """Work out what goes on the truck; a list that was made before is made anew.

    Where a machine was read since the evening before, its need is known and packed for it, column
    by column. Of everything else the truck carries, product by product, the quantile of the sum
    over all its stops at the service level. What the truck holds already is deducted, from what is
    carried loose first. Raises LoadingHasBegun once something was picked.
    """
    held = (
        Run.objects.select_for_update(no_key=True, of=("self",))
        .select_related("vehicle__truck", "depot__site")
        .get(pk=run.pk)
    )
    if LoadLine.objects.filter(run=held, picked__isnull=False).exists():
        raise LoadingHasBegun(f"{held}: loading has begun; the list stays as it is")
    if held.state in {Run.State.OUT, Run.State.ENDED}:
        raise LoadingHasBegun(f"{held}: the run is {held.get_state_display()}")
    stops = list(
        Stop.objects.filter(run=held, state=Stop.State.PLANNED)
        .select_related("machine")
        .order_by("sequence")
    )
    lines = _lines(held, stops, now)
    LoadLine.objects.filter(run=held).delete()
    made = LoadLine.objects.bulk_create(lines)
    audit.record(
        actor=actor,
        verb="make load list",
        row=held,
        now=now,
        after={"lines": len(made), "units": sum(line.wanted for line in made)},
    )
    return made


def _lines(run: Run, stops: list[Stop], now: datetime) -> list[LoadLine]:
    if not stops:
        return []
    assumed = RunAssumptions.the()
    needs = machine_needs(
        [stop.machine for stop in stops],
        day=run.date,
        next_chance=run.date + timedelta(days=1),
        now=now,
    )
    known = _read_lately(stops, run.planned_start - timedelta(hours=assumed.fresh_read_hours))
    levels = StockLevel.objects.filter(place=run.vehicle.truck, quantity__gt=0)
    on_truck: dict[int, int] = defaultdict(int)
    on_truck.update(levels.order_by().values_list("product").annotate(Sum("quantity")))
    packed: list[tuple[Stop, NeedLine]] = []
    loose: dict[int, list[tuple[float, ...]]] = defaultdict(list)
    for stop in stops:
        for line in needs[stop.machine_id].lines:
            if stop.machine_id in known:
                packed.append((stop, line))
            else:
                loose[line.product].append(line.need_chances)
    products = Product.objects.in_bulk({line.product for _, line in packed} | loose.keys())
    found = []
    for pk in sorted(loose, key=lambda key: (products[key].name, key)):
        load = carry(loose[pk], float(assumed.load_service_level), on_truck=on_truck[pk])
        carried = min(on_truck[pk], load.required)
        on_truck[pk] -= carried
        if load.required:
            found.append(
                LoadLine(
                    run=run,
                    product=products[pk],
                    basis=Basis.SERVICE_LEVEL,
                    wanted=load.required - carried,
                    carried=carried,
                )
            )
    for stop, line in packed:
        if not line.fill_quantile:
            continue
        carried = min(on_truck[line.product], line.fill_quantile)
        on_truck[line.product] -= carried
        found.append(
            LoadLine(
                run=run,
                stop=stop,
                column_id=line.column,
                product=products[line.product],
                basis=Basis.KNOWN,
                wanted=line.fill_quantile - carried,
                carried=carried,
            )
        )
    return found


def _read_lately(stops: list[Stop], since: datetime) -> set[int]:
    """Machines whose counters were read since, so that what they hold is known."""
    taken = (
        AuditRead.objects.filter(
            machine__in=[stop.machine_id for stop in stops], state=AuditRead.State.ACCEPTED
        )
        .order_by()
        .values_list("machine")
        .annotate(Max("taken_at"))
    )
    return {machine for machine, when in taken if when is not None and when >= since}
