"""Plans of maintenance, and machines' own terms of them."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from fleet.machines.models import Machine
from people import rows
from people.errors import Unacceptable
from people.models import Person
from people.roles import Role
from service.compute.upkeep import BadInterval, day_of_year

from .. import asked
from ..models import MaintenancePlan, OwnTerms
from ..models.plans import Trigger
from ..queries.turns import applies
from . import due as due_work

MOST_ITEMS = 30


@transaction.atomic
def save_plan(
    *,
    actor: Person,
    now: datetime,
    changes: Mapping[str, Any],
    plan: MaintenancePlan | None = None,
) -> MaintenancePlan:
    """Make a plan, or change one; what is due is worked out anew. Raises Unacceptable.

    Work already done keeps the checklist that it answered.
    """
    changes = _tidied(changes, plan)
    responsible = changes.get("responsible")
    if responsible is not None and not responsible.has_role(
        Role.OWNER, Role.DISPATCHER, Role.DRIVER
    ):
        message = f"{responsible} does no work at machines; choose a driver or somebody of the desk"
        raise Unacceptable(message, fields={"responsible": message})
    row = plan or MaintenancePlan(made_at=now)
    verb = "add maintenance plan" if plan is None else "change maintenance plan"
    saved = rows.put(row, changes, actor=actor, verb=verb, now=now)
    due_work.work_out(now=now, plans=[saved.pk])
    return saved


@transaction.atomic
def save_own_terms(
    *,
    plan: MaintenancePlan,
    machine: Machine,
    changes: Mapping[str, Any],
    actor: Person,
    now: datetime,
) -> OwnTerms:
    """Give a machine an interval of its own, or leave it out of a plan. Raises Unacceptable."""
    if not applies(plan, machine):
        message = f"{plan} is not for {machine} anyway"
        raise Unacceptable(message, fields={"machine": message})
    row = OwnTerms.objects.filter(plan=plan, machine=machine).first()
    verb = "add own terms" if row is None else "change own terms"
    own = row or OwnTerms(plan=plan, machine=machine)
    saved = rows.put(own, changes, actor=actor, verb=verb, now=now)
    due_work.work_out_again(plan=plan, now=now, machines=[machine.pk])
    return saved


@transaction.atomic
def remove_own_terms(*, own: OwnTerms, actor: Person, now: datetime) -> None:
    """The plan's own interval holds for the machine again."""
    plan, machine = own.plan, own.machine_id
    rows.delete(own, actor=actor, verb="remove own terms", now=now)
    due_work.work_out_again(plan=plan, now=now, machines=[machine])


def _tidied(changes: Mapping[str, Any], plan: MaintenancePlan | None) -> dict[str, Any]:
    """With what cannot be said by a field alone checked, and what another trigger left cleared."""
    found = dict(changes)
    if "checklist" in found:
        items = [" ".join(str(item).split()) for item in found["checklist"]]
        found["checklist"] = items = [item for item in items if item]
        if len(set(items)) != len(items):
            raise _refused("checklist", "an item stands twice")
        if len(items) > MOST_ITEMS:
            raise _refused("checklist", f"{len(items)} items; at most {MOST_ITEMS} get done")
    if "readings_asked" in found:
        found["readings_asked"] = [
            {
                "what": one.what,
                "least": None if one.least is None else str(one.least),
                "most": None if one.most is None else str(one.most),
            }
            for one in asked.asked_of(found["readings_asked"])
        ]
    if "season_days" in found:
        for text in found["season_days"]:
            try:
                day_of_year(text, 2000)
            except BadInterval as error:
                raise _refused("season_days", str(error)) from error
        found["season_days"] = sorted(set(found["season_days"]))
    trigger = found.get("trigger", None if plan is None else plan.trigger)
    if "trigger" in found and plan is not None and trigger != plan.trigger:
        # What set the plan off before does so no more.
        left: dict[str, tuple[str, Any]] = {
            "every_days": (Trigger.DAYS, None),
            "every_vends": (Trigger.VENDS, None),
            "season_days": (Trigger.SEASON, []),
        }
        found |= {name: empty for name, (of, empty) in left.items() if of != trigger}
    return found


def _refused(field: str, message: str) -> Unacceptable:
    return Unacceptable(f"maintenance plan: {message}", fields={field: message})
