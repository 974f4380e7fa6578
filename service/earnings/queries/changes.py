"""What would change what one machine earns: each lever with numbers from the demand model."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from statistics import median
from typing import Any, Final

import numpy as np

from fleet.demand.arranging import arranged
from fleet.demand.models import ColumnDemand, DemandRules
from fleet.demand.queries.changes import Changes, suggested
from fleet.machines.models import Machine, Placement, SetUp, Site
from people.models import Business
from service.compute import levers
from service.compute.levers import Gain
from service.runs.models import RunAssumptions

from ..models import EarningsSettings
from .books import Rates, rates
from .work import driven

#: Prices as parts of what they are.
PRICES: Final = (0.95, 1.05, 1.10)
#: Days between visits as parts of what they are.
GAPS: Final = (0.5, 0.75, 1.5, 2.0)
#: Visits of so long back say what a visit costs.
LOOKS_BACK: Final = timedelta(days=91)
SOLVE_S: Final = 3.0


@dataclass(frozen=True, slots=True)
class Visiting:
    """What a visit to the machine costs, and what that stands on: `visits` of its own of late;
    without any those of all machines, and where `is_assumed` a visit's time as plans assume it."""

    minor: float
    visits: int
    is_assumed: bool = False


@dataclass(frozen=True)
class Levers:
    """A machine's levers; gains are a week's, in minor units. A part is None where nothing can be
    said, and `said` tells why. `lost_at` is the part of buyers that each price may lose."""

    machine: Machine
    gap_days: int
    visiting: Visiting
    swaps: Changes | None
    rhythm: tuple[Gain, ...]
    prices: tuple[Gain, ...]
    lost_at: tuple[float, ...]
    moving: Gain | None
    places: int
    elasticity: tuple[Decimal, Decimal]
    said: tuple[str, ...]


def levers_of(machine: Machine, *, now: datetime) -> Levers:
    """What another product, price, rhythm or place would change. Answers in a few seconds."""
    settings, known = EarningsSettings.the(), rates()
    whole = arranged(machine, now=now)
    cabinet = whole.cabinet
    minor = 10 ** Business.the().currency_exponent
    visiting = _visiting(machine, now, known, minor)
    said = []
    # Without a product there is nothing to sell, and without a column nothing to hold it.
    sells = bool(cabinet.now.capacities(cabinet.products.count).sum())
    asked_for = sells and bool((cabinet.products.weekly_units > 0).any())
    if not asked_for:
        said.append("Nothing is known of what is asked for here, so nothing can be said.")
    gaps = sorted({max(1, round(whole.gap_days * part)) for part in GAPS} - {whole.gap_days})
    elasticity = (float(settings.elasticity_least), float(settings.elasticity_most))
    prices = _prices(machine, whole.products, minor)
    rhythm = levers.rhythm(cabinet, visit_minor=visiting.minor, gaps=gaps) if asked_for else ()
    priced = (
        tuple(levers.price(cabinet, prices, part=part, elasticity=elasticity) for part in PRICES)
        if asked_for
        else ()
    )
    moving, places = _moving(machine, known, settings, minor)
    if moving is None:
        said.append(
            f"Only {places} other machines of its kind stand at sites with a demand that is "
            f"known; {levers.LEAST_PLACES} are needed to say anything of another place."
        )
    return Levers(
        machine=machine,
        gap_days=whole.gap_days,
        visiting=visiting,
        swaps=suggested(machine=machine, now=now, seconds=SOLVE_S) if asked_for else None,
        rhythm=rhythm,
        prices=priced,
        lost_at=tuple(_lost_at(cabinet, prices, part) for part in PRICES),
        moving=moving,
        places=places,
        elasticity=(settings.elasticity_least, settings.elasticity_most),
        said=tuple(said),
    )


def _visiting(machine: Machine, now: datetime, known: Rates, minor: int) -> Visiting:
    """The middle cost of its visits of late; of everybody's where it had none."""
    visits = driven(now - LOOKS_BACK, now, ())
    own = [one for one in visits if one.machine == machine.pk]
    costs = [
        float((one.minutes + one.way_minutes) * known.per_hour / 60 + one.km * known.per_km)
        for one in own or visits
    ]
    if not costs:
        assumed = float(RunAssumptions.the().visit_minutes * known.per_hour / 60)
        return Visiting(assumed * minor, 0, is_assumed=True)
    return Visiting(median(costs) * minor, len(own))


def _prices(machine: Machine, products: Sequence[Any], minor: int) -> list[float]:
    """What each product costs a customer here; its usual price where it is not sold here."""
    here = dict(
        SetUp.objects.filter(column__machine=machine, ends_at__isnull=True)
        .order_by("pk")
        .values_list("product", "price")
    )
    return [float(here.get(one.pk, one.price)) * minor for one in products]


def _lost_at(cabinet: Any, prices: Sequence[float], part: float) -> float:
    """Buyers that a price may lose, over what is sold now, weighed by what is asked for."""
    held = cabinet.now.capacities(cabinet.products.count) > 0
    weights = cabinet.products.weekly_units[held]
    if not weights.sum():
        return 0.0
    margin = float(np.average(cabinet.products.margin_minor[held], weights=weights))
    price = float(np.average(np.asarray(prices)[held], weights=weights))
    return levers.buyers_to_lose(margin, price * (part - 1))


def _moving(
    machine: Machine, known: Rates, settings: EarningsSettings, minor: int
) -> tuple[Gain | None, int]:
    """Its place against those of other machines of its kind, by margin asked for a week."""
    alike = Placement.objects.filter(
        ends_at__isnull=True, site__purpose=Site.Purpose.HOST, machine__kind=machine.kind_id
    ).exclude(site__in=machine.placements.filter(ends_at__isnull=True).values("site"))
    others = alike.order_by().values_list("machine", flat=True)
    week: dict[int, float] = defaultdict(float)
    rows = ColumnDemand.objects.filter(column__machine__in=[machine.pk, *others]).filter(
        column__set_ups__ends_at__isnull=True
    )
    for of, a_day, price, cost in rows.order_by("pk").values_list(
        "column__machine", "a_day", "column__set_ups__price", "product__cost"
    ):
        # Where no cost is entered half the price stands for the margin, as in the demand model.
        margin = price / 2 if cost is None else max(price - cost, Decimal(0))
        week[of] += a_day * 7 * float(margin) * minor
    own = week.pop(machine.pk, 0.0)
    work = settings.moving_minutes * float(known.per_hour) / 60 * minor
    weeks = float(DemandRules.the().pay_back_weeks)
    return levers.moving(own, list(week.values()), work_minor=work, weeks=weeks), len(week)


def usual_period(today: date) -> tuple[date, date]:
    """The thirteen weeks that ended yesterday."""
    return today - LOOKS_BACK, today
