"""Where what is called back is, where it was sold, and who is sent to fetch it."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from django.db.models import Max, QuerySet, Sum

from fleet.inventory.models import Lot, MovementLine, StockLevel, StockPlace
from fleet.machines.models import Machine, Placement
from service.runs.models import Stop
from service.runs.queries.ahead import stops_ahead

from ..models import Recall, RecallRemoval, RecallVisit


class Called(StrEnum):
    """Whether units of a lot are called back."""

    YES = "yes"
    PERHAPS = "perhaps"
    NO = "no"


@dataclass(frozen=True)
class Held:
    """So many units of a recalled product at one place of ours, as the ledger has it.

    `called` is perhaps where nobody wrote down enough of the lot to tell. What a column holds is an
    estimate: what is really there, whoever goes there sees.
    """

    place: StockPlace
    lot: Lot | None
    quantity: int
    called: Called
    machine: Machine | None
    placement: Placement | None


@dataclass(frozen=True)
class SoldFrom:
    """Units of recalled lots that went to customers, as far as lots are known, by machine."""

    machine: int
    asset_tag: str
    units: int
    last_at: datetime


@dataclass(frozen=True)
class ToVisit:
    """A machine that holds, or may hold, what is called back, and who goes there when.

    `removed` are the lines of what somebody found there.
    """

    machine: Machine
    placement: Placement | None
    certain: int
    perhaps: int
    stop: Stop | None
    asked: RecallVisit | None
    removed: tuple[RecallRemoval, ...]

    @property
    def is_seen(self) -> bool:
        """Whether somebody was there for it and nothing that is certainly called back is left."""
        return bool(self.removed) and not self.certain


def recalls_whole() -> "QuerySet[Recall]":
    return Recall.objects.select_related("product", "opened_by", "closed_by")


def recalls_listed(*, only_open: bool = False) -> "QuerySet[Recall]":
    """Open ones first, the latest first."""
    rows = recalls_whole()
    if only_open:
        rows = rows.filter(closed_at__isnull=True)
    return rows.order_by("-closed_at", "-opened_at", "-pk")


def called(recall: Recall, lot: Lot | None) -> Called:
    """Whether units of a lot are called back, by what is printed on them."""
    codes = {code.casefold() for code in recall.codes}
    first, last = recall.best_before_from, recall.best_before_until
    if not codes and first is None and last is None:
        return Called.YES
    if lot is None:
        return Called.PERHAPS
    unknown = False
    if codes:
        if lot.code and lot.code.casefold() not in codes:
            return Called.NO
        unknown |= not lot.code
    if first is not None or last is not None:
        on = lot.best_before
        if on is not None and ((first and on < first) or (last and on > last)):
            return Called.NO
        unknown |= on is None
    return Called.PERHAPS if unknown else Called.YES


def held(recall: Recall) -> list[Held]:
    """Every place of ours where it is, or may be; where it is certain first. Two queries."""
    levels = StockLevel.objects.filter(product=recall.product_id, quantity__gt=0)
    rows = [
        (row, answer)
        for row in levels.select_related(
            "place__site", "place__column__machine__kind", "place__column__position", "lot"
        ).order_by("place__kind", "place__name", "pk")
        if (answer := called(recall, row.lot)) is not Called.NO
    ]
    placed = _placed(row.place.column.machine_id for row, _ in rows if row.place.column)
    found = [
        Held(
            place=row.place,
            lot=row.lot,
            quantity=row.quantity,
            called=answer,
            machine=row.place.column.machine if row.place.column else None,
            placement=placed.get(row.place.column.machine_id) if row.place.column else None,
        )
        for row, answer in rows
    ]
    return sorted(found, key=lambda one: one.called is not Called.YES)


def sold_from(recall: Recall) -> list[SoldFrom]:
    """Machines that sold of it, as far as lots are known, the most first. Two queries."""
    lots = [
        lot.pk
        for lot in Lot.objects.filter(product=recall.product_id)
        if called(recall, lot) is Called.YES
    ]
    rows = (
        MovementLine.objects.filter(
            product=recall.product_id,
            lot__in=lots,
            to_place__kind=StockPlace.Kind.CUSTOMER,
            from_place__column__isnull=False,
        )
        .order_by()
        .values_list("from_place__column__machine", "from_place__column__machine__asset_tag")
        .annotate(units=Sum("quantity"), last=Max("happened_at"))
    )
    found = [SoldFrom(machine, tag, units, last) for machine, tag, units, last in rows]
    return sorted(found, key=lambda one: (-one.units, one.asset_tag))


def to_visit(recall: Recall, found: Iterable[Held] | None = None) -> list[ToVisit]:
    """The machines to go to, those where it is certain first. Four queries and those of `held`."""
    places = list(held(recall) if found is None else found)
    by_machine: dict[int, list[Held]] = defaultdict(list)
    machines: dict[int, Machine] = {}
    for one in places:
        if one.machine is not None:
            by_machine[one.machine.pk].append(one)
            machines[one.machine.pk] = one.machine
    removed: dict[int, list[RecallRemoval]] = defaultdict(list)
    for line in removals_of(recall):
        column = line.place.column
        if column is not None:
            removed[column.machine_id].append(line)
            machines.setdefault(column.machine_id, column.machine)
    asked: dict[int, RecallVisit] = {}
    visits = RecallVisit.objects.filter(recall=recall).select_related("machine__kind", "asked_by")
    for visit in visits.order_by("asked_at", "pk"):
        asked[visit.machine_id] = visit
        machines.setdefault(visit.machine_id, visit.machine)
    placed = _placed(machines)
    stops = stops_ahead(machines)
    rows = [
        ToVisit(
            machine=machine,
            placement=placed.get(key),
            certain=sum(one.quantity for one in by_machine[key] if one.called is Called.YES),
            perhaps=sum(one.quantity for one in by_machine[key] if one.called is Called.PERHAPS),
            stop=stops.get(key),
            asked=asked.get(key),
            removed=tuple(removed.get(key, ())),
        )
        for key, machine in machines.items()
    ]
    return sorted(rows, key=lambda one: (one.is_seen, -one.certain, one.machine.asset_tag))


def removals_of(recall: Recall) -> "QuerySet[RecallRemoval]":
    """What somebody found and took out, the latest first."""
    return (
        RecallRemoval.objects.filter(recall=recall)
        .select_related("place__column__machine__kind", "movement", "evidence", "by")
        .defer("evidence__raw")
        .order_by("-happened_at", "-pk")
    )


def open_for(machines: Iterable[int]) -> dict[int, list[Recall]]:
    """Open recalls for which somebody was sent to each of these machines and nothing is written
    down yet, for pages that send somebody there. Two queries."""
    found: dict[int, list[Recall]] = defaultdict(list)
    rows = RecallVisit.objects.filter(
        machine__in=list(machines), recall__closed_at__isnull=True
    ).select_related("recall__product")
    done = set(
        RecallRemoval.objects.filter(
            place__column__machine__in=list(machines), recall__closed_at__isnull=True
        ).values_list("recall", "place__column__machine")
    )
    for one in rows.order_by("recall", "pk"):
        if (one.recall_id, one.machine_id) not in done and one.recall not in found[one.machine_id]:
            found[one.machine_id].append(one.recall)
    return dict(found)


def _placed(machines: Iterable[int]) -> dict[int, Placement]:
    rows = Placement.objects.filter(machine__in=list(machines), ends_at__isnull=True)
    return {row.machine_id: row for row in rows.select_related("site")}
