"""The report of sales tax of a period, what it is made of, and each machine's part of it."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Final

from django.db.models import QuerySet

from fleet.inventory.models import CostChange
from fleet.machines.models import Machine, Product
from fleet.sales.models import MachineInterval
from people.models import Business
from service.compute.tax.classes import (
    FOOD,
    Attributes,
    ClassCode,
    Classed,
    Form,
    Water,
    classify,
)
from service.compute.tax.report import Fact, Report, by_key, report
from service.compute.tax.rounding import Rounding
from service.compute.tax.rules import Rule, Rules, Sale
from service.compute.tax.split import ZERO

from ..models import TaxRule, TaxSettings
from ..sums.gathering import Period, Sold, first_moment, money, sold
from ..sums.segments import Segment, Segments
from .containers import KEPT_OUT, Containers
from .tax_shares import LowShares
from .undecided import AllUndecided, undecided

MILLIONTH: Final = Decimal("0.000001")


@dataclass(frozen=True)
class Gathered:
    """Facts of a period, the rules they were judged by, and what could not be added up."""

    period: Period
    basis: str
    facts: tuple[Fact, ...]
    rules: tuple[Rule, ...]
    said: tuple[str, ...]
    undecided: AllUndecided


@dataclass(frozen=True)
class Judged:
    """Sums of a period and the facts made of them, one of one, with the rules, the segments and
    the deposits on what was sold.

    `said` is what the facts stand on that no line tells.
    """

    rows: tuple[Sold, ...]
    facts: tuple[Fact, ...]
    rules: tuple[Rule, ...]
    segments: tuple[Segment, ...]
    containers: Containers
    said: tuple[str, ...] = ()


@dataclass(frozen=True)
class TaxReport:
    """A report with what it was made from."""

    gathered: Gathered
    report: Report


def rules_in_force() -> "QuerySet[TaxRule]":
    """The rules that the business goes by now, of every state and date."""
    return TaxRule.objects.filter(replaced_by__isnull=True, removed_at__isnull=True)


def class_of(product: Product, state: str) -> Classed:
    """The class of a product in a state, with the reason."""
    return classify(attributes(product), state)


def attributes(product: Product) -> Attributes:
    """What a product's record says of the facts that definitions ask for."""
    form = Form.NOT_FOOD if product.form == Product.Form.PART else Form(product.form)
    return Attributes(
        form=form,
        sweetened=product.sweetened,
        juice_percent=product.juice_percent,
        contains_milk=product.contains_milk,
        carbonated=product.carbonated,
        contains_flour=product.contains_flour,
        needs_refrigeration=product.needs_refrigeration,
        heated=product.heated,
        supplement_facts=product.supplement_facts,
        water=Water(product.water),
    )


def tax_report(
    period: Period,
    *,
    state: str = "",
    basis: str = "",
    rounding: Rounding | None = None,
    machines: Sequence[int] | None = None,
) -> TaxReport:
    """The report of a period, of one state or of all, by the business's settings unless told."""
    settings = TaxSettings.the()
    gathered = gather(period, state=state, basis=basis or settings.basis, machines=machines)
    how = rounding or Rounding(settings.rounding)
    found = report(gathered.facts, Rules.of(gathered.rules), rounding=how, unit=unit())
    return TaxReport(gathered, replace(found, said=(*found.said, *gathered.said)))


def unit() -> Decimal:
    """The smallest amount of money of the business."""
    return money(1, Business.the().currency_exponent)


def gather(
    period: Period, *, state: str = "", basis: str, machines: Sequence[int] | None = None
) -> Gathered:
    """Sales of a period as facts. A fixed number of queries, however much was sold."""
    judged = judge(period, state=state, basis=basis, machines=machines)
    of_report = {one.machine_id for one in judged.segments} if state or machines else None
    held_back = undecided(period, of_report)
    said = (*judged.said, *held_back.said, *_left_out(period, judged))
    return Gathered(period, basis, judged.facts, judged.rules, said, held_back)


def judge(
    period: Period, *, state: str = "", basis: str, machines: Sequence[int] | None = None
) -> Judged:
    """Sums of a period with the fact that each makes, in one order."""
    rules = tuple(row.rule for row in rules_in_force())
    segments = Segments(
        since=first_moment(basis, period),
        until=period.until,
        rules=rules,
        zone=Business.the().time_zone,
        machines=machines,
    ).all()
    if state:
        # Pieces elsewhere stay, so that an interval which crosses a border is cut there.
        of_machine = {one.machine_id for one in segments if one.state == state}
        segments = [one for one in segments if one.machine_id in of_machine]
    rows = sold(basis, period, segments)
    if state:
        rows = [row for row in rows if segments[row.segment].state == state]
    goods = Product.objects.select_related("package").in_bulk(
        {row.product_id for row in rows if row.product_id}
    )
    containers = Containers(goods.values())
    shares = LowShares(period, rules, Business.the().currency_exponent)
    facts = tuple(_facts(rows, segments, period, goods, containers, shares))
    used = tuple(rule for rule in rules if not state or rule.state == state)
    return Judged(tuple(rows), facts, used, tuple(segments), containers, shares.said)


def _facts(
    rows: Sequence[Sold],
    segments: Sequence[Segment],
    period: Period,
    goods: Mapping[int, Product],
    containers: Containers,
    shares: LowShares,
) -> Iterable[Fact]:
    costs = _costs(goods.values(), period)
    classes: dict[tuple[int, str], Classed] = {}
    for row in rows:
        state = segments[row.segment].state
        if row.product_id and (row.product_id, state) not in classes:
            classes[row.product_id, state] = class_of(goods[row.product_id], state)
    highest, others = _what_else(rows, segments, classes)
    bulk = set(Machine.objects.filter(kind__bulk=True).values_list("pk", flat=True))
    exponent = Business.the().currency_exponent
    alike: dict[tuple[object, ...], Sale] = {}
    for row in rows:
        segment = segments[row.segment]
        state, product_id = segment.state, row.product_id or 0
        product = goods.get(product_id)
        classed = classes.get((product_id, state))
        receipts = money(row.minor, exponent)
        each = containers.deposit(product_id, segment) if state in KEPT_OUT else ZERO
        most = highest[row.machine_id, state]
        # Sales that are alike are one object, so that a rule is looked for once for all of them.
        known = (
            state,
            segment.on,
            segment.takes,
            segment.premises,
            product_id,
            row.price_minor,
            most,
            others[row.machine_id, state],
            row.machine_id in bulk,
        )
        sale = alike.get(known)
        if sale is None:
            price = None if row.price_minor is None else money(row.price_minor, exponent)
            loose = row.machine_id in bulk
            sale = alike[known] = Sale(
                state=state,
                on=segment.on,
                code=classed.code if classed else ClassCode.UNKNOWN,
                price=price,
                takes=segment.takes,
                premises=segment.premises,
                carbonated=product.carbonated if product else None,
                highest_price=None if most is None else money(most, exponent),
                sells_other=others[row.machine_id, state],
                bulk=loose,
                low_share=shares.of(state, segment.on, bulk=loose, price=price),
            )
        cost = costs.get(product_id)
        yield Fact(
            key=f"{row.machine_id}:{product_id}",
            machine=str(row.machine_id),
            sale=sale,
            rates=segment.rates,
            units=row.units,
            receipts=receipts,
            cost=None if cost is None else (cost * row.units).quantize(MILLIONTH),
            deposits=min(receipts, (each or ZERO) * row.units),
            why_class=classed.why if classed else "no product is known for these sales",
        )


def _what_else(
    rows: Sequence[Sold], segments: Sequence[Segment], classes: dict[tuple[int, str], Classed]
) -> tuple[dict[tuple[int, str], int | None], dict[tuple[int, str], bool | None]]:
    """The highest price of each machine in a state, in minor units, and whether it sells more than
    food, by what it sold; None where a price or a class that would decide is not known. By state,
    so that the report of one state is a part of the report of all."""
    highest: dict[tuple[int, str], int | None] = {}
    others: dict[tuple[int, str], bool | None] = {}
    for row in rows:
        at = row.machine_id, segments[row.segment].state
        most = highest.get(at, 0)
        known = most is not None and row.price_minor is not None
        highest[at] = max(most or 0, row.price_minor or 0) if known else None
        classed = classes.get((row.product_id or 0, at[1]))
        if classed is None or classed.code is ClassCode.UNKNOWN:
            others[at] = others.get(at) or None
        else:
            before = others.get(at, False)
            others[at] = True if classed.code not in FOOD else before
    return highest, others


def _costs(goods: Iterable[Product], period: Period) -> dict[int, Decimal]:
    """What a unit of each product cost on average when the period ended."""
    costs = {one.pk: one.cost for one in goods if one.cost is not None}
    changes = (
        CostChange.objects.filter(at__lt=period.until, product__in=list(costs))
        .order_by("product_id", "-at", "-pk")
        .distinct("product_id")
    )
    costs.update({one.product_id: one.average for one in changes})
    return costs


def _left_out(period: Period, judged: Judged) -> Iterable[str]:
    """What the reader must know that no line says."""
    touched = MachineInterval.objects.filter(ends_at__gte=period.since, ends_at__lt=period.until)
    business = Business.the()
    ours = ("", business.currency)
    other = touched.exclude(currency__in=ours, exponent=business.currency_exponent).count()
    if other:
        yield (
            f"{other} intervals are in another currency than {business.currency}, or in other "
            "parts of it; left out."
        )
    untold = sum(row.untold for row in judged.rows)
    if untold:
        yield (
            f"{untold} lines tell how many were sold and not for how much; their money is in no "
            "figure here."
        )
    kept = sorted({fact.sale.state for fact in judged.facts if fact.deposits})
    for state in kept:
        yield f"{state}: container deposits are kept out of the base ({KEPT_OUT[state]})."
    for state in sorted(KEPT_OUT):
        if bare := judged.containers.unknown(state):
            yield (
                f"{state}: the container deposit of {', '.join(bare)} is not known and stays in "
                "the base; write down size, material and what is in them."
            )


@dataclass(frozen=True)
class MachineTax:
    """One machine's part of a report, in money.

    `deposit` is what customers paid as deposits on containers, whether the rule of the place keeps
    it out of the base or not; `bare_units` were sold of drinks whose deposit is not known.
    """

    receipts: Decimal = ZERO
    tax: Decimal = ZERO
    deposit: Decimal = ZERO
    unclassified: Decimal = ZERO
    bare_units: int = 0


def tax_of_machines(
    period: Period, *, machines: Sequence[int] | None = None, basis: str = ""
) -> dict[int, MachineTax]:
    """Receipts, tax and deposits of each machine in a period; the parts of a report's lines."""
    found: dict[int, MachineTax] = {}
    for (machine, _), part in _of_goods(period, machines, basis).items():
        found[machine] = _added(found.get(machine, MachineTax()), part)
    return found


def tax_of_classes(
    period: Period, *, machines: Sequence[int] | None = None, basis: str = ""
) -> dict[tuple[int, str], MachineTax]:
    """The same by machine and form of product; "" is of products that no read tells."""
    forms: dict[int | None, str] = dict(Product.objects.values_list("pk", "form"))
    found: dict[tuple[int, str], MachineTax] = {}
    for (machine, product), part in _of_goods(period, machines, basis).items():
        key = machine, forms.get(product, "")
        found[key] = _added(found.get(key, MachineTax()), part)
    return found


def _of_goods(
    period: Period, machines: Sequence[int] | None, basis: str
) -> dict[tuple[int, int | None], MachineTax]:
    """Each product's part at each machine, by the keys that facts have."""
    settings, smallest = TaxSettings.the(), unit()
    judged = judge(period, basis=basis or settings.basis, machines=machines)
    rules, rounding = Rules.of(judged.rules), Rounding(settings.rounding)
    made = report(judged.facts, rules, rounding=rounding, unit=smallest)
    found: dict[tuple[int, int | None], MachineTax] = {}
    for key, part in by_key(made, smallest).items():
        machine, _, product = key.partition(":")
        of = int(machine), int(product) or None
        found[of] = MachineTax(part.receipts, part.tax, ZERO, part.unclassified)
    for row in judged.rows:
        each = judged.containers.deposit(row.product_id, judged.segments[row.segment])
        if each == ZERO:
            continue
        was = found.get((row.machine_id, row.product_id), MachineTax())
        paid = min(row.minor * smallest, (each or ZERO) * row.units)
        found[row.machine_id, row.product_id] = replace(
            was,
            deposit=was.deposit + paid,
            bare_units=was.bare_units + (row.units if each is None else 0),
        )
    return found


def _added(was: MachineTax, part: MachineTax) -> MachineTax:
    return MachineTax(
        was.receipts + part.receipts,
        was.tax + part.tax,
        was.deposit + part.deposit,
        was.unclassified + part.unclassified,
        was.bare_units + part.bare_units,
    )
