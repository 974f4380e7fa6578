"""The next turn of each plan at each machine, computed from what is recorded."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import date, datetime, time, timedelta
from typing import Final

from django.db.models import Max, Min

from fleet.machines.models import Machine, Placement
from fleet.sales.models import MachineInterval
from people.models import Business
from service.compute.upkeep import Due, Sold, after_days, after_vends, on_season

from ..models import MaintenanceDone, MaintenancePlan, OwnTerms
from ..models.plans import Trigger

PACE_DAYS: Final = 84
"""How far back the pace of sales is looked at: twelve weeks, so that each weekday counts alike."""
Key = tuple[int, int]
"""Of a machine and of a plan."""


class Turns:
    """The turns of some machines (keys), by some plans or by all that hold.

    `due` has each turn's day by machine and plan, `untold` those of which no day can be told. A
    fixed number of queries, whatever the number of machines.
    """

    def __init__(self, machines: Sequence[int], plans: Sequence[int] | None, today: date) -> None:
        self._today = today
        self._zone = Business.the().time_zone
        self.due: dict[Key, Due] = {}
        self.untold: list[Key] = []
        chosen = MaintenancePlan.objects.filter(active=True)
        if plans is not None:
            chosen = chosen.filter(pk__in=plans)
        self._plans = list(chosen.order_by("pk"))
        self._machines = list(
            Machine.objects.filter(pk__in=machines, status=Machine.Status.IN_SERVICE)
            .select_related("kind")
            .order_by("pk")
        )
        self._read()
        for plan in self._plans:
            for machine in self._machines:
                if applies(plan, machine):
                    self._turn(plan, machine)

    def _read(self) -> None:
        keys = [machine.pk for machine in self._machines]
        plan_keys = [plan.pk for plan in self._plans]
        # Without an end only where machines stand now, each once.
        self._placed: dict[int, datetime] = dict(
            Placement.objects.filter(machine__in=keys, ends_at__isnull=True)
            .values_list("machine")
            .annotate(since=Min("starts_at"))
        )
        self._last: dict[Key, datetime] = {
            (machine, plan): at
            for machine, plan, at in MaintenanceDone.objects.filter(
                machine__in=keys, plan__in=plan_keys, set_aside_at__isnull=True
            )
            .order_by()
            .values_list("machine", "plan")
            .annotate(at=Max("done_at"))
        }
        self._own = {
            (own.machine_id, own.plan_id): own
            for own in OwnTerms.objects.filter(machine__in=keys, plan__in=plan_keys)
        }
        self._sold: dict[int, list[tuple[datetime, datetime, int]]] = defaultdict(list)
        if any(plan.trigger == Trigger.VENDS for plan in self._plans):
            self._read_sales(keys)

    def _read_sales(self, keys: Sequence[int]) -> None:
        rows = MachineInterval.objects.filter(machine__in=keys).order_by("machine", "ends_at", "pk")
        for machine, starts_at, ends_at, *units in rows.values_list(
            "machine", "starts_at", "ends_at", "paid_units", "test_units", "free_units"
        ):
            self._sold[machine].append((starts_at, ends_at, sum(one or 0 for one in units)))

    def _turn(self, plan: MaintenancePlan, machine: Machine) -> None:
        key = (machine.pk, plan.pk)
        own = self._own.get(key)
        if own is not None and own.left_out:
            return
        at = self._last.get(key)
        last = None if at is None else at.astimezone(self._zone).date()
        begins = self._begins(plan, machine)
        due: Due | None
        if plan.trigger == Trigger.SEASON and (own is None or own.every_days is None):
            due = on_season(
                plan.season_days, last=last, begins=begins, notice_days=plan.notice_days
            )
        elif plan.trigger == Trigger.VENDS and (own is None or own.every_days is None):
            every = own.every_vends if own and own.every_vends else plan.every_vends
            due = self._after_vends(every or 1, at, begins, machine)
        else:
            every = own.every_days if own and own.every_days else plan.every_days
            due = after_days(every or 1, last=last, begins=begins, key=machine.pk)
        if due is None:
            self.untold.append(key)
        else:
            self.due[key] = due

    def _after_vends(
        self, every: int, at: datetime | None, begins: date, machine: Machine
    ) -> Due | None:
        since = at or datetime.combine(begins, time(), self._zone)
        late = datetime.combine(self._today - timedelta(days=PACE_DAYS), time(), self._zone)
        sold = self._sold.get(machine.pk, [])
        return after_vends(
            every,
            last=None if at is None else at.astimezone(self._zone).date(),
            begins=begins,
            key=machine.pk,
            sold_since=round(sum(_part(one, since) for one in sold)),
            pace=[
                Sold((ends - starts).total_seconds() / 86_400, units)
                for starts, ends, units in sold
                if starts >= late
            ],
            today=self._today,
        )

    def _begins(self, plan: MaintenancePlan, machine: Machine) -> date:
        begins = plan.starts_on or plan.made_at.astimezone(self._zone).date()
        placed = self._placed.get(machine.pk)
        return begins if placed is None else max(begins, placed.astimezone(self._zone).date())


def applies(plan: MaintenancePlan, machine: Machine) -> bool:
    """Whether a plan is for a machine, whatever the machine's own terms."""
    if plan.machine_id is not None:
        return plan.machine_id == machine.pk
    if plan.kind_id is not None and plan.kind_id != machine.kind_id:
        return False
    if plan.applies_to == MaintenancePlan.AppliesTo.REFRIGERATED:
        return bool(machine.kind.energy_class)
    if plan.applies_to == MaintenancePlan.AppliesTo.DROP_SENSOR:
        return machine.kind.drop_sensor
    return True


def _part(sold: tuple[datetime, datetime, int], since: datetime) -> float:
    """What of an interval's units fell after a moment, as if sold evenly over it."""
    starts, ends, units = sold
    if ends <= since:
        return 0.0
    if starts >= since or ends == starts:
        return float(units)
    return units * (ends - since) / (ends - starts)
