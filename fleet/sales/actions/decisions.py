"""What a person decides where a device's counters start afresh."""

from datetime import datetime

from django.db import transaction

from fleet.compute.intervals.interval import CounterState
from people import audit
from people.errors import Unable, Unacceptable
from people.models import Person

from ..locks import lock_machines
from ..models import EpochDecision, MachineInterval
from ..rules import require_reason
from ..settle import settle


@transaction.atomic
def decide_epoch(
    *,
    interval: MachineInterval,
    device: str,
    choice: str,
    reason: str,
    actor: Person,
    now: datetime,
) -> EpochDecision:
    """Say how a device's counters are to be taken in the interval in which they start afresh.

    A decision taken before for the same device and interval gives way. The interval is cut anew.
    Raises Unacceptable for an unknown choice or device or no reason, Unable if the device counted
    on or the interval was cut anew meanwhile.
    """
    require_reason(reason)
    if choice not in EpochDecision.Choice.values:
        message = f"one of {', '.join(EpochDecision.Choice.values)}"
        raise Unacceptable(message, fields={"choice": message})
    machine = lock_machines([interval.machine])[interval.machine_id]
    current = MachineInterval.objects.filter(pk=interval.pk).first()
    if current is None:
        raise Unable(
            "the interval was cut anew meanwhile; look again", code="interval_cut_meanwhile"
        )
    known = {state["device"]: state for state in current.devices}
    if device not in known:
        message = f"one of {', '.join(known) or 'none: no device counts here'}"
        raise Unacceptable(message, fields={"device": message})
    if known[device]["state"] != CounterState.NEW_EPOCH:
        raise Unable(
            f"the counters of the {device.replace('_', ' ')} went on between these two reads; "
            "there is nothing to decide",
            code="nothing_to_decide",
        )
    decision = EpochDecision.objects.filter(
        from_read=current.from_read_id, to_read=current.to_read_id, device=device
    ).first()
    before = None if decision is None else audit.values(decision)
    if decision is None:
        decision = EpochDecision(
            machine=machine,
            from_read_id=current.from_read_id,
            to_read_id=current.to_read_id,
            device=device,
        )
    decision.choice, decision.reason = choice, reason
    decision.decided_at, decision.decided_by = now, actor
    decision.save()
    audit.record(
        actor=actor,
        verb="decide about a device",
        row=decision,
        now=now,
        before=before,
        after=audit.values(decision),
        reason=reason,
    )
    settle([machine], decided=True)
    return decision


@transaction.atomic
def withdraw_decision(
    *, decision: EpochDecision, reason: str, actor: Person, now: datetime
) -> None:
    """Take a decision back: what it was about is cut anew and waits for another.

    Raises Unacceptable without a reason, Unable if it was taken back already.
    """
    require_reason(reason)
    machine = lock_machines([decision.machine])[decision.machine_id]
    current = EpochDecision.objects.filter(pk=decision.pk).first()
    if current is None:
        raise Unable("the decision was taken back already", code="decision_withdrawn")
    decision = current
    audit.record(
        actor=actor,
        verb="withdraw decision about a device",
        row=decision,
        now=now,
        before=audit.values(decision),
        after=None,
        reason=reason,
    )
    settle([machine], decided=True, undoing=decision)
    decision.delete()
