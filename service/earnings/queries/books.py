"""What every machine at every site earned in a period, with what stands against it."""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from typing import Final

from people import currency
from people.models import Business
from service.compliance.models import TaxSettings
from service.compliance.queries.tax import tax_report, unit
from service.compliance.sums.gathering import Period
from service.compute.earnings import Earned, in_cents, shared
from service.compute.tax.report import by_key
from service.runs.models import RunAssumptions
from service.tickets.models import ServiceSettings

from ..models import EarningsSettings
from . import hosts, work
from .goods import Goods, Place, goods
from .stays import Stay, stays
from .work import Driven, Job

ZERO: Final = Decimal(0)
MONTH_DAYS: Final = Decimal("30.4375")
Product = int | None


@dataclass(frozen=True, slots=True)
class Rates:
    """What an hour and a way cost, and what each machine bears in a month; the smallest amount."""

    per_hour: Decimal
    per_km: Decimal
    labour_per_hour: Decimal
    overhead_per_month: Decimal
    cent: Decimal


@dataclass(frozen=True)
class Books:
    """A period `[starts_on, ends_on)`: `own` holds what a product brought in and cost by place and
    product, `of_place` what a place cost besides. `said` tells what stands behind the figures, and
    `not_known` what is missing from them."""

    starts_on: date
    ends_on: date
    rates: Rates
    own: Mapping[tuple[Place, Product], Earned]
    of_place: Mapping[Place, Earned]
    visits: Sequence[Driven] = ()
    said: tuple[str, ...] = ()
    not_known: tuple[str, ...] = field(default=())

    def places(self) -> dict[Place, Earned]:
        """All of it by machine and site."""
        found: dict[Place, Earned] = dict(self.of_place)
        for (place, _), one in self.own.items():
            found[place] = found.get(place, Earned()) + one
        return found


def rates() -> Rates:
    """As set, or as plans assume where nothing is set."""
    settings, assumed = EarningsSettings.the(), RunAssumptions.the()
    return Rates(
        per_hour=assumed.cost_per_hour
        if settings.cost_per_hour is None
        else settings.cost_per_hour,
        per_km=assumed.cost_per_km if settings.cost_per_km is None else settings.cost_per_km,
        labour_per_hour=ServiceSettings.the().labour_per_hour,
        overhead_per_month=settings.overhead_per_month,
        cent=unit(),
    )


def books(starts_on: date, ends_on: date, *, machines: Sequence[int] | None = None) -> Books:
    """The books of `[starts_on, ends_on)` on the business's calendar, of some machines or of all.

    Those of some machines tell of them what those of all do. Money is in whole cents, machine by
    machine. A fixed number of queries, however many machines there are.
    """
    period, known = Period(starts_on, ends_on), rates()
    where = stays(period.since, period.until, machines=machines)
    sold = goods(where)
    tax, no_tax = _tax(period, {one.machine for one in where})
    own = {key: _of_product(one) for key, one in sold.items()}
    _add_tax(own, tax, no_tax)
    of_place, visits = _of_places(where, known, period)
    no_commission = _add_commission(of_place, where, period)
    no_fees = _add_fees(of_place, where, sold, period)
    said, not_known = _words(known, sold, no_tax)
    if no_commission:
        not_known.append(
            f"Commission is not known for {no_commission} site{_s(no_commission)} with an "
            "agreement: statements are not issued for all of the time."
        )
    if no_fees:
        not_known.append(
            f"Card fees are not known for {no_fees} machine{_s(no_fees)} that took cards and "
            "that no settlement tells of."
        )
    own, of_place = _in_cents(own, of_place, known.cent)
    return Books(starts_on, ends_on, known, own, of_place, visits, tuple(said), tuple(not_known))


def machines_of_site(site: int, starts_on: date, ends_on: date) -> list[int]:
    """The machines that stood at a site in `[starts_on, ends_on)`. Two queries."""
    period = Period(starts_on, ends_on)
    return sorted({one.machine for one in stays(period.since, period.until) if one.site == site})


def _in_cents(
    own: Mapping[tuple[Place, Product], Earned], of_place: Mapping[Place, Earned], cent: Decimal
) -> tuple[dict[tuple[Place, Product], Earned], dict[Place, Earned]]:
    """Both in whole cents. By machine, so that one alone has the figures that it has among all."""
    cells: dict[int, dict[tuple[Place, Product, bool], Earned]] = defaultdict(dict)
    for (place, product), one in own.items():
        cells[place[0]][place, product, True] = one
    for place, one in of_place.items():
        cells[place[0]][place, None, False] = one
    found: tuple[dict[tuple[Place, Product], Earned], dict[Place, Earned]] = {}, {}
    for of_machine in cells.values():
        ordered = {key: of_machine[key] for key in sorted(of_machine, key=str)}
        for (place, product, is_own), one in in_cents(ordered, cent).items():
            if is_own:
                found[0][place, product] = one
            else:
                found[1][place] = one
    return found


def _of_product(one: Goods) -> Earned:
    costs = {"goods": one.cost, "waste": one.waste, "missing": one.missing}
    unknown = set()
    if one.units_without_cost:
        unknown.add("goods")
    if one.lines_without_cost:
        unknown.add("waste")
    if one.lines_without_money:
        unknown.add("receipts")
    return Earned(one.receipts, one.units, costs, frozenset(unknown))


def _tax(
    period: Period, machines: Collection[int]
) -> tuple[dict[tuple[int, Product], Decimal], set[tuple[int, Product]]]:
    """Tax by machine and product, and where receipts have no rule yet.

    It is reckoned over all machines and kept for these: a rule's tax is one sum, rounded once, and
    that of one machine alone would be another.
    """
    found: dict[tuple[int, Product], Decimal] = {}
    bare: set[tuple[int, Product]] = set()
    report = tax_report(period, basis=TaxSettings.Basis.DAYS).report
    for key, part in by_key(report, unit()).items():
        machine, _, product = key.partition(":")
        of = (int(machine), int(product) or None)
        if of[0] not in machines:
            continue
        if part.tax or part.unclassified < part.receipts:
            found[of] = found.get(of, ZERO) + part.tax
        if part.unclassified:
            bare.add(of)
    return found, bare


def _add_tax(
    own: dict[tuple[Place, Product], Earned],
    tax: Mapping[tuple[int, Product], Decimal],
    bare: set[tuple[int, Product]],
) -> None:
    """Tax by its product; over several sites of one machine by their receipts."""
    places: dict[tuple[int, Product], list[tuple[Place, Product]]] = defaultdict(list)
    for key in sorted(own, key=str):
        (machine, _), product = key
        places[machine, product].append(key)
    for of, keys in places.items():
        taxed = Earned(
            costs={"tax": tax[of]} if of in tax else {},
            unknown=frozenset({"tax"} if of in bare or of not in tax else ()),
        )
        parts = shared(taxed, [max(own[key].receipts, ZERO) for key in keys])
        for key, part in zip(keys, parts, strict=True):
            nothing = not own[key].receipts and of not in tax
            own[key] += Earned() if nothing else part


def _add_commission(of_place: dict[Place, Earned], where: Sequence[Stay], period: Period) -> int:
    """Put commission to its places; how many sites it is not wholly known of."""
    paid, bare = hosts.commission(period.starts_on, period.ends_on, where)
    here = {one.machine for one in where}
    for place, amount in paid.items():
        if place[0] not in here:
            continue  # another machine of the site than those asked about
        more = Earned(costs={"commission": amount.quantize(Decimal("0.0001"))})
        of_place[place] = of_place.get(place, Earned()) + more
    not_known = Earned(unknown=frozenset({"commission"}))
    for place in {(one.machine, one.site) for one in where if one.site in bare}:
        of_place[place] = of_place.get(place, Earned()) + not_known
    return len(bare)


def _add_fees(
    of_place: dict[Place, Earned],
    where: Sequence[Stay],
    sold: Mapping[tuple[Place, Product], Goods],
    period: Period,
) -> int:
    """Share fees over the places of a machine by its cashless receipts there; how many machines
    took cards and have none told."""
    told = hosts.fees(period.starts_on, period.ends_on)
    cards: dict[int, dict[Place, Decimal]] = defaultdict(dict)
    for stay in where:
        if stay.machine in told:  # fees of a machine that sold nothing are its own all the same
            cards[stay.machine][stay.machine, stay.site] = ZERO
    for (place, _), one in sold.items():
        cards[place[0]][place] = cards[place[0]].get(place, ZERO) + one.cashless
    bare = 0
    for machine, places in cards.items():
        keys = sorted(places, key=str)
        if machine in told:
            whole = Earned(costs={"fees": told[machine]})
        elif any(places.values()):
            whole = Earned(unknown=frozenset({"fees"}))
            bare += 1
        else:
            continue
        for place, part in zip(keys, shared(whole, [places[key] for key in keys]), strict=True):
            of_place[place] = of_place.get(place, Earned()) + part
    return bare


def _of_places(
    where: Sequence[Stay], known: Rates, period: Period
) -> tuple[dict[Place, Earned], list[Driven]]:
    found: dict[Place, Earned] = {}
    machines: dict[int, list[Stay]] = defaultdict(list)

    def add(place: Place, more: Earned) -> None:
        found[place] = found.get(place, Earned()) + more

    for one in where:
        machines[one.machine].append(one)
        if one.site is not None and known.overhead_per_month:
            months = Decimal(str(round(one.days, 6))) / MONTH_DAYS
            overhead = (known.overhead_per_month * months).quantize(Decimal("0.0001"))
            add((one.machine, one.site), Earned(costs={"overhead": overhead}))

    def place_of(machine: int, at: datetime) -> Place | None:
        stays_of = machines.get(machine)
        if not stays_of:
            return None  # another machine than those asked about
        there = next((one for one in stays_of if one.since <= at < one.until), stays_of[-1])
        return machine, there.site

    def jobs(name: str, done: Sequence[Job], per_hour: Decimal = ZERO) -> None:
        for job in done:
            place = place_of(job.machine, job.at)
            if place is not None:
                amount = job.amount + job.minutes * per_hour / 60
                add(place, Earned(costs={name: amount.quantize(Decimal("0.0001"))}))

    repaired = work.repairs(period.since, period.until)
    kept = work.upkeep(period.since, period.until)
    jobs("refunds", work.refunds(period.since, period.until))
    jobs("repairs", repaired)
    jobs("upkeep", kept, known.labour_per_hour)
    visits = work.driven(period.since, period.until, [*repaired, *kept])
    mine = []
    for visit in visits:
        place = place_of(visit.machine, visit.at)
        if place is not None:
            mine.append(visit)
            add(place, cost_of(visit, known))
    return found, mine


def cost_of(visit: Driven, known: Rates) -> Earned:
    """One visit with its share of the way."""
    minutes = visit.own_minutes + visit.way_minutes
    cost = minutes * known.per_hour / 60 + visit.km * known.per_km
    return Earned(
        costs={"visits": cost.quantize(known.cent)},
        minutes=minutes,
        km=visit.km,
        visits=Decimal(1),
    )


def _s(number: int) -> str:
    return "" if number == 1 else "s"


def _words(
    known: Rates, sold: Mapping[tuple[Place, Product], Goods], no_tax: set[tuple[int, Product]]
) -> tuple[list[str], list[str]]:
    business = Business.the()
    hour, labour, month = (
        currency.said(amount, business)
        for amount in (known.per_hour, known.labour_per_hour, known.overhead_per_month)
    )
    said = [
        "Receipts are what customers paid by the machines' counters, spread evenly over the time "
        "between two reads; an interval across the edge of the period or a move is cut there.",
        "Goods are units sold and given away, at the moving average cost of their day, with a "
        "container's deposit where that was paid with them.",
        "Waste and missing goods are those of machines, at the cost they were booked at; goods "
        "that were thrown away in a warehouse are no machine's.",
        "A visit costs its time and an even share of its run's other time and of the way as "
        f"planned, at {hour} an hour and {known.per_km.normalize():f} a kilometre; minutes that a "
        "ticket or maintenance tells of are paid for there and not twice.",
        f"Repairs are labour and parts of tickets closed; upkeep is its minutes at "
        f"{labour} an hour.",
        f"Every machine at a site bears {month} a month besides.",
        "Commission is that of statements issued and of what corrected them, spread evenly over "
        "their days; a site without an agreement gets none. Card fees are those of settlements, by "
        "their days.",
        "A product bears what its machines cost besides goods by its part of their receipts.",
    ]
    not_known = []
    bare = sum((one.units_without_cost for one in sold.values()), ZERO)
    if bare:
        not_known.append(f"What {bare:.0f} units had cost is not known; they count as nothing.")
    if no_tax:
        not_known.append(
            "No rule of tax is entered for all or a part of what machines took "
            f"({len({of for of, _ in no_tax})} of them); its tax is not taken off."
        )
    if any(one.lines_without_money for one in sold.values()):
        not_known.append("Some reads tell of units and not of what was paid for them.")
    return said, not_known
