"""Stickers for machines: made, and made anew when one is lost or was copied."""

from collections.abc import Iterable
from datetime import datetime

from django.db import transaction

from fleet.machines.models import Machine
from people import rows
from people.errors import Unacceptable
from people.models import Person

from ..models import Sticker

MOST_AT_ONCE = 200


@transaction.atomic
def issue(
    *, machines: Iterable[Machine], actor: Person, now: datetime, anew: bool = False
) -> list[Sticker]:
    """The stickers of machines, in the order of their tags; those that have none get one, and with
    `anew` all get a new one, which withdraws the one before. Raises Unacceptable."""
    wanted = sorted(set(machines), key=lambda one: one.pk)
    _require(wanted)
    # The machines in one order, so that two who print at once make one sticker and do not deadlock.
    locked = Machine.objects.select_for_update(no_key=True).filter(pk__in=[m.pk for m in wanted])
    list(locked.order_by("pk"))
    kept = {
        one.machine_id: one
        for one in Sticker.objects.filter(machine__in=wanted, withdrawn_at__isnull=True)
    }
    found: list[Sticker] = []
    for machine in wanted:
        old = kept.get(machine.pk)
        if old is not None and not anew:
            found.append(old)
            continue
        if old is not None:
            changes = {"withdrawn_at": now}
            rows.put(old, changes, actor=actor, verb="withdraw sticker", now=now)
        fresh = {"machine": machine, "issued_at": now, "issued_by": actor}
        found.append(rows.put(Sticker(), fresh, actor=actor, verb="issue sticker", now=now))
    by_key = {machine.pk: machine for machine in wanted}
    for one in found:
        one.machine = by_key[one.machine_id]
    return sorted(found, key=lambda one: (one.machine.asset_tag, one.pk))


def _require(machines: list[Machine]) -> None:
    message = ""
    if not machines:
        message = "choose at least one machine"
    elif len(machines) > MOST_AT_ONCE:
        message = f"at most {MOST_AT_ONCE} at once; these are {len(machines)}"
    retired = [str(one) for one in machines if one.status == Machine.Status.RETIRED]
    if retired:
        message = f"{', '.join(retired[:5])}: retired, nobody buys there any more"
    if message:
        raise Unacceptable(f"machines: {message}", fields={"machines": message})
