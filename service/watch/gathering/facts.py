"""What is known around findings that speaks for one cause or another."""

import math
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any, Final

from django.db.models import Count, Max, Q

from fleet.demand.gaps import usual_gaps
from fleet.demand.models import DemandRules, UnusualDay
from fleet.inventory.models import StockCount
from fleet.machines.models import Changeover, Column, Placement, SetUp
from fleet.sales.models import EventOccurrence, MachineEvent
from fleet.sales.stock import ColumnStock, estimate
from people.models import Business
from service.compute.watch.facts import ColumnFacts
from service.compute.watch.missing import Nature
from service.compute.watch.suspicion import Kind
from service.upkeep.models import MaintenanceDone

from ..seen import Seen
from .reported import POWER_CUT
from .setups import SetUps

POWER_DAYS: Final = 28
#: Half of a 90 % band in standard deviations.
BAND: Final = 1.645


@dataclass(frozen=True)
class Around:
    """What is known of the columns and machines of some findings, read at once."""

    now: datetime
    set_ups: SetUps
    changed: Mapping[int, dict[str, Any]]
    stock: Mapping[int, ColumnStock]
    counted: Mapping[int, datetime]
    gaps: Mapping[int, int]
    events: Mapping[int, tuple[str, ...]]
    read: frozenset[int]
    power: Mapping[int, int]
    kept: Mapping[tuple[int, str], datetime]
    columns: Mapping[int, int]
    silent: Mapping[int, int]
    product_columns: Mapping[int, int]
    product_silent: Mapping[int, int]
    closed: Mapping[int, tuple[datetime, ...]]
    has_closures: bool

    @classmethod
    def of(cls, seen: Sequence[Seen], *, now: datetime) -> "Around":
        """Some thirty queries, however many findings."""
        machines = sorted({one.machine for one in seen})
        columns = sorted({one.column for one in seen if one.column is not None})
        products = sorted({one.product for one in seen if one.product is not None})
        silent = [one for one in seen if one.kind == Kind.SILENT.value]
        events: dict[int, list[str]] = defaultdict(list)
        for machine, base in (
            MachineEvent.objects.filter(machine__in=machines, is_active=True)
            .order_by("machine", "base")
            .values_list("machine", "base")
        ):
            events[machine].append(base)
        now_set = SetUp.objects.filter(ends_at__isnull=True)
        return cls(
            now=now,
            set_ups=SetUps.of(columns),
            changed=_changed(columns, now),
            stock=estimate(columns, now) if columns else {},
            counted=_by(
                StockCount.objects.filter(place__column__in=columns, counted_at__lte=now)
                .order_by()
                .values_list("place__column")
                .annotate(Max("counted_at"))
            ),
            gaps=usual_gaps(machines, now=now, usual=DemandRules.the().usual_gap_days),
            events={machine: tuple(found) for machine, found in events.items()},
            read=frozenset(
                MachineEvent.objects.filter(machine__in=machines)
                .order_by()
                .values_list("machine", flat=True)
                .distinct()
            ),
            power=_by(
                EventOccurrence.objects.filter(
                    machine__in=machines,
                    base=POWER_CUT,
                    happened_at__gt=_local(now - timedelta(days=POWER_DAYS)),
                )
                .order_by()
                .values_list("machine")
                .annotate(Count("pk"))
            ),
            kept=_kept(machines, now),
            columns=_by(
                Column.objects.filter(machine__in=machines)
                .order_by()
                .values_list("machine")
                .annotate(Count("pk"))
            ),
            silent=Counter(one.machine for one in silent),
            product_columns=_by(
                now_set.filter(product__in=products)
                .order_by()
                .values_list("product")
                .annotate(Count("pk"))
            ),
            product_silent=Counter(one.product for one in silent if one.product is not None),
            closed=_closed(machines, now),
            has_closures=UnusualDay.objects.exists(),
        )

    def facts(self, seen: Seen) -> ColumnFacts:
        """All that is known around one finding."""
        numbers, machine = seen.numbers, seen.machine
        found: dict[str, Any] = {
            "events": self.events.get(machine, ()) if machine in self.read else None,
            "power_losses": self.power.get(machine, 0) if machine in self.read else None,
            "days_between_visits": float(self.gaps[machine]),
            "days_since_condenser": self._days(self.kept.get((machine, "condenser"))),
            "days_since_gasket": self._days(self.kept.get((machine, "gasket"))),
            "sold_before_part": numbers.get("sold_before_part"),
            "neighbour_mirrors": numbers.get("neighbour_mirrors"),
            "one_price": numbers.get("one_price"),
            "one_person": numbers.get("one_person"),
            "still_warm": numbers.get("still_warm"),
            "shared_with_site": numbers.get("shared_with_site"),
            "whole_hours": numbers.get("whole_hours"),
            "clock_lost": numbers.get("clock_lost"),
        }
        if "nature" in numbers:
            found["nature"] = Nature(numbers["nature"])
        if seen.kind == Kind.SILENT.value:
            found |= self._silence(seen)
        if seen.column is not None:
            found |= self.set_ups.facts(seen.column)
            found |= self.changed.get(seen.column, {})
            found["chance_empty"] = self._chance_empty(seen.column)
            counted = self.counted.get(seen.column)
            since = seen.since or self.now
            if counted is not None:
                found["days_since_visit"] = max((since - counted).total_seconds() / 86_400, 0.0)
        return ColumnFacts(**found)

    def _silence(self, seen: Seen) -> dict[str, Any]:
        product, since = seen.product or 0, seen.since or self.now
        # The column itself is not "elsewhere".
        others = self.product_columns.get(product, 0) - 1
        return {
            "machine_silent_part": self.silent.get(seen.machine, 0)
            / max(self.columns.get(seen.machine, 1), 1),
            "part_of_fleet_silent": (self.product_silent.get(product, 1) - 1) / others
            if others > 0
            else None,
            "site_closed": any(day >= since for day in self.closed.get(seen.machine, ()))
            if self.has_closures
            else None,
        }

    def _chance_empty(self, column: int) -> float | None:
        stock = self.stock.get(column)
        if stock is None or stock.last_count_at is None:
            return None
        spread = max((stock.high - stock.low) / 2 / BAND, 0.3)
        return 0.5 * math.erfc((stock.expected - 0.5) / spread / math.sqrt(2))

    def _days(self, at: datetime | None) -> float | None:
        return None if at is None else (self.now - at).total_seconds() / 86_400


def _changed(columns: Sequence[int], now: datetime) -> dict[int, dict[str, Any]]:
    """What the last changeover of each column left. One query."""
    rows = (
        Changeover.objects.filter(
            column__in=columns, state=Changeover.State.DONE, ended_at__lte=now
        )
        .order_by("column_id", "-ended_at", "-pk")
        .distinct("column_id")
    )
    return {
        row.column_id: {
            "days_since_changeover": (now - row.ended_at).total_seconds() / 86_400,
            "test_vends_made": row.test_vends_made,
            "test_vends_passed": row.test_vends_passed,
            "as_left_differs": bool(row.mismatches),
            "picture_matches": row.picture_matches,
        }
        for row in rows
        if row.ended_at is not None
    }


def _kept(machines: Sequence[int], now: datetime) -> dict[tuple[int, str], datetime]:
    """When condensers and gaskets were last seen to; plans are known by their names. One query."""
    rows = (
        MaintenanceDone.objects.filter(
            Q(plan__name__icontains="condenser") | Q(plan__name__icontains="gasket"),
            machine__in=machines,
            set_aside_at__isnull=True,
            done_at__lte=now,
        )
        .order_by()
        .values_list("machine", "plan__name")
        .annotate(Max("done_at"))
    )
    found: dict[tuple[int, str], datetime] = {}
    for machine, name, at in rows:
        for what in ("condenser", "gasket"):
            if what in name.lower():
                key = (machine, what)
                found[key] = max(at, found.get(key, at))
    return found


def _closed(machines: Sequence[int], now: datetime) -> dict[int, tuple[datetime, ...]]:
    """Days on which the machine's site, or every site, sells less than half. Two queries."""
    zone = Business.the().time_zone
    days = UnusualDay.objects.filter(
        day__gt=now.date() - timedelta(days=60), day__lte=now.date(), part__lt=Decimal("0.5")
    )
    sites: dict[int | None, list[datetime]] = defaultdict(list)
    for site, day in days.order_by("day").values_list("site", "day"):
        sites[site].append(datetime.combine(day, datetime.max.time(), zone))
    if not sites:
        return {}
    placed = Placement.objects.filter(machine__in=machines, ends_at__isnull=True)
    return {
        machine: (*sites.get(None, ()), *sites.get(site, ()))
        for machine, site in placed.order_by().values_list("machine", "site")
    }


def _local(moment: datetime) -> datetime:
    """As a machine in the business's zone would write it."""
    return moment.astimezone(Business.the().time_zone).replace(tzinfo=None)


def _by(rows: Any) -> dict[int, Any]:
    return dict(rows)
