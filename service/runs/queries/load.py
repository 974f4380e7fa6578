"""The load list read two ways: packed by stop, and picked by product."""

from collections.abc import Iterable
from dataclasses import dataclass, field

from fleet.machines.models import Product

from ..models import LoadLine, Run, Stop


@dataclass
class StopLoad:
    """What is packed for one stop; `stop` None: carried loose, for all stops."""

    stop: Stop | None
    lines: list[LoadLine] = field(default_factory=list)


@dataclass
class ProductLoad:
    """One product over the whole run: wanted, on the truck already, picked, short."""

    product: Product
    wanted: int = 0
    carried: int = 0
    picked: int = 0
    short: int = 0
    is_picked: bool = True
    lines: list[LoadLine] = field(default_factory=list)


def lines_of(run: Run) -> list[LoadLine]:
    """The lines of a run, with all that a list shows."""
    return list(
        LoadLine.objects.filter(run=run)
        .select_related("stop__machine", "stop__site", "column__position", "product", "substitute")
        .order_by("stop__sequence", "column__position__order", "product__name", "pk")
    )


def by_stop(run: Run, lines: Iterable[LoadLine] | None = None) -> list[StopLoad]:
    """Packed for each stop in the order of the run; what is carried loose comes last."""
    found: dict[int | None, StopLoad] = {}
    for line in lines_of(run) if lines is None else lines:
        found.setdefault(line.stop_id, StopLoad(line.stop)).lines.append(line)
    return sorted(found.values(), key=lambda one: 10**6 if one.stop is None else one.stop.sequence)


def by_product(run: Run, lines: Iterable[LoadLine] | None = None) -> list[ProductLoad]:
    """What is taken from the warehouse, product by product."""
    found: dict[int, ProductLoad] = {}
    for line in lines_of(run) if lines is None else lines:
        one = found.setdefault(line.product_id, ProductLoad(line.product))
        one.wanted += line.wanted
        one.carried += line.carried
        one.picked += line.picked or 0
        one.short += line.short or 0
        one.is_picked = one.is_picked and line.picked is not None
        one.lines.append(line)
    return sorted(found.values(), key=lambda one: (one.product.name, one.product.pk))
