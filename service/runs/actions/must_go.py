"""A machine that has to be gone to, for a reason of its own."""

from datetime import date, datetime

from django.db import transaction

from fleet.machines.models import Machine
from people import audit
from people.errors import Unacceptable
from people.models import Person

from ..models import Run, Stop
from . import board
from .changing import OPEN, held_runs


@transaction.atomic
def must_go(
    *,
    machine: Machine,
    code: str,
    reason: str,
    actor: Person,
    now: datetime,
    day: date | None = None,
    run: Run | None = None,
) -> Stop:
    """The machine's stop on the runs of a day, or on one run: put there where it costs least.

    One that it has already has to be gone to from now on. The reason stands on the driver's page.

    `code` names the reason for programs. Raises CannotChange, RunsHaveBegun, Unacceptable.
    """
    said = reason.strip()[:300]
    if not said:
        raise Unacceptable("say why it is visited", fields={"reason": "say why"})
    there = Stop.objects.filter(machine=machine, state=Stop.State.PLANNED, run__agreed=True)
    if run is not None:
        on = there.filter(run=run)
    elif day is not None:
        on = there.filter(run__date=day)
    else:
        message = "name either a day or a run"
        raise Unacceptable(message, fields={"day": message})
    found = on.filter(run__state__in=OPEN).order_by("planned_arrive", "pk").first()
    told = {"code": code, "said": said}
    if found is None:
        stop, _ = board.insert_stop(
            machine=machine, reason=said, actor=actor, now=now, day=day, run=run
        )
        stop.reasons = [told, *(one for one in stop.reasons if one.get("said") != said)]
        stop.save(update_fields=["reasons", "updated_at"])
        return stop
    held_runs([found.run_id])
    stop = (
        Stop.objects.select_for_update(of=("self",))
        .select_related("run", "machine")
        .get(pk=found.pk)
    )
    before = audit.values(stop)
    stop.must_go = True
    stop.reasons = [told, *(one for one in stop.reasons if one.get("said") != said)]
    stop.save(update_fields=["must_go", "reasons", "updated_at"])
    audit.record(
        actor=actor,
        verb="stop has to be gone to",
        row=stop,
        now=now,
        before=before,
        after=audit.values(stop),
        reason=said,
    )
    return stop
