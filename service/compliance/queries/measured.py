"""What was measured at machines, judged by the rules it is measured for."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db.models import Prefetch, QuerySet

from fleet.machines.models import Kind, Machine, Placement, Site
from fleet.machines.queries.fleet import machines_listed
from service.compute import energy, reach

from ..models import AccessCheck, AccessMeasure, EnergyReading


def checks_whole() -> "QuerySet[AccessCheck]":
    """Access checks with where and whose, those set aside too."""
    measures = AccessMeasure.objects.order_by("pk")
    return AccessCheck.objects.select_related(
        "placement__site", "placement__machine__kind", "by", "set_aside_by"
    ).prefetch_related(Prefetch("measures", queryset=measures))


def readings_whole() -> "QuerySet[EnergyReading]":
    return EnergyReading.objects.select_related("machine__kind", "by", "set_aside_by")


def reach_of(check: AccessCheck) -> reach.Judged:
    """A check beside 308 and 309, with what to change. No query where measures are fetched."""
    over = None
    if check.obstruction_height_mm is not None and check.obstruction_depth_mm is not None:
        over = reach.Obstruction(check.obstruction_height_mm, check.obstruction_depth_mm)
    parts = tuple(
        reach.Part(one.get_part_display(), one.height_mm, one.force_n)
        for one in check.measures.all()
    )
    return reach.judge(parts, reach.Approach(check.approach), over)


@dataclass(frozen=True)
class Access:
    """A machine where it stands now, and its latest check there; None: nobody measured it yet."""

    machine: Machine
    placement: Placement
    check: AccessCheck | None
    judged: reach.Judged | None

    @property
    def state(self) -> str:
        if self.judged is None:
            return "not measured"
        if self.judged.verdict is not reach.Verdict.MET:
            return "to change"
        return "met" if self.judged.complete else "met, force not measured"


def access_now(machines: Iterable[int] | None = None) -> list[Access]:
    """Every machine in service at a host's site with its latest check there; those to change
    first, then those not measured. A fixed number of queries."""
    placed = Placement.objects.filter(
        ends_at__isnull=True,
        machine__status=Machine.Status.IN_SERVICE,
        site__purpose=Site.Purpose.HOST,
    ).select_related("site", "machine__kind")
    if machines is not None:
        placed = placed.filter(machine__in=list(machines))
    standing = list(placed.order_by("site__name", "machine__asset_tag", "pk"))
    latest: dict[int, AccessCheck] = {}
    checks = checks_whole().filter(
        placement__in=[one.pk for one in standing], set_aside_at__isnull=True
    )
    for check in checks.order_by("-measured_at", "-pk"):
        latest.setdefault(check.placement_id, check)
    found = []
    for one in standing:
        known = latest.get(one.pk)
        judged = None if known is None else reach_of(known)
        found.append(Access(one.machine, one, known, judged))
    order = {"to change": 0, "not measured": 1}
    return sorted(found, key=lambda one: order.get(one.state, 2))


@dataclass(frozen=True)
class Allowed:
    """What a machine may use a day; without a limit `missing` names what is not recorded."""

    limit: energy.Limit | None
    missing: tuple[str, ...]


def allowed_of(kind: Kind, made_on: date | None) -> Allowed:
    """The daily limit of a machine of a kind, made that day."""
    missing = []
    if not kind.refrigerated_volume_l:
        missing.append("the refrigerated volume of its kind")
    if made_on is None:
        missing.append("when it was made")
    if missing or made_on is None or not kind.refrigerated_volume_l:
        return Allowed(None, tuple(missing))
    found = energy.limit(energy.EnergyClass(kind.energy_class), kind.refrigerated_volume_l, made_on)
    return Allowed(found, ())


def days_of(reading: EnergyReading) -> Decimal:
    seconds = Decimal((reading.ends_at - reading.starts_at).total_seconds())
    return seconds / 86_400


def a_day_of(reading: EnergyReading) -> Decimal:
    """kWh a day, with a limit or without."""
    return (reading.kwh / days_of(reading)).quantize(Decimal("0.001"))


def energy_of(reading: EnergyReading) -> energy.Judged | None:
    """A reading beside the limit of its machine; None where no limit can be told."""
    kind = reading.machine.kind
    if not kind.energy_class:
        return None
    allowed = allowed_of(kind, reading.machine.made_on)
    if allowed.limit is None:
        return None
    return energy.judge(reading.kwh, days_of(reading), allowed.limit)


@dataclass(frozen=True)
class Use:
    """A machine that cools, its limit, and the latest reading beside it."""

    machine: Machine
    placement: Placement | None
    allowed: Allowed
    reading: EnergyReading | None
    judged: energy.Judged | None

    @property
    def a_day(self) -> Decimal | None:
        """kWh a day as measured, with a limit or without."""
        if self.judged is not None:
            return self.judged.kwh_per_day
        if self.reading is None:
            return None
        return a_day_of(self.reading)

    @property
    def state(self) -> str:
        if self.reading is None:
            return "not measured"
        if self.judged is None or self.judged.within is None:
            return "no limit stands" if not self.allowed.missing else "limit not known"
        return "within" if self.judged.within else "above"


def use_now(machines: Iterable[int] | None = None) -> list[Use]:
    """Machines in service whose kind has an energy class, those above their limit first. A fixed
    number of queries."""
    rows = machines_listed(status=Machine.Status.IN_SERVICE).exclude(kind__energy_class="")
    if machines is not None:
        rows = rows.filter(pk__in=list(machines))
    listed = list(rows.order_by("asset_tag", "pk"))
    latest: dict[int, EnergyReading] = {}
    readings = EnergyReading.objects.filter(
        machine__in=[one.pk for one in listed], set_aside_at__isnull=True
    )
    for reading in readings.order_by("-ends_at", "-pk"):
        latest.setdefault(reading.machine_id, reading)
    found = []
    for machine in listed:
        allowed = allowed_of(machine.kind, machine.made_on)
        known = latest.get(machine.pk)
        judged = None
        if known is not None and allowed.limit is not None:
            judged = energy.judge(known.kwh, days_of(known), allowed.limit)
        here = machine.placements_now  # type: ignore[attr-defined]
        found.append(Use(machine, here[0] if here else None, allowed, known, judged))
    order = {"above": 0, "limit not known": 1, "not measured": 2}
    return sorted(found, key=lambda one: order.get(one.state, 3))
