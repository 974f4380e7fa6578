"""Going through the numbers: one part of a look, and the end of it, where findings are written."""

from collections.abc import Callable
from datetime import datetime

from django.db import transaction

from people import audit
from people.models import Person

from ..gathering.everything import look_at
from ..models import Look, LookPart, WatchLimits
from ..seen import Seen
from ..sifting import Sifted, sift
from . import looks, recording, ruling, verdicts
from .errors import PartLost

Clock = Callable[[], datetime]


def look(*, now: datetime, actor: Person | None = None, over: str = Look.Over.ASKED) -> Look:
    """Go through the numbers in one go, without workers: of the whole fleet unless told otherwise.

    Raises UnableToLook beside one that is running.
    """
    begun = looks.start(over=over, actor=actor, now=now)
    for part in begun.parts.order_by("number").values_list("pk", flat=True):
        look_part(part_id=part, clock=lambda: now)
    finish(look=begun, now=now)
    begun.refresh_from_db()
    return begun


def look_part(*, part_id: int, clock: Clock) -> bool:
    """Go through one part, if it is free; whether this call did it.

    Safe to call twice, and while another is at it. What goes wrong gives the part back, to be
    tried again or given up, and is raised on.
    """
    part = looks.take(part_id=part_id, now=clock())
    if part is None:
        return False
    try:
        # All that was known when the look began, so that a part looked at again sees the same.
        judged, seen = look_at(part.machines, now=part.look.started_at, limits=WatchLimits.the())
        looks.done(part=part, judged=judged, seen=[one.as_json() for one in seen], now=clock())
    except PartLost:
        return False  # whoever has it now does it
    except Exception as error:
        why = f"{type(error).__name__}: {error}"
        if looks.give_back(part=part, why=why, now=clock()):
            finish(look=part.look, now=clock())
        raise
    finish(look=part.look, now=clock())
    return True


def finish(*, look: Look, now: datetime) -> bool:
    """End a look once no part of it is left to do, and write its findings; whether this call did.

    What silences are too long to be chance is told over all parts together. Findings of machines
    whose part failed stay as they are.
    """
    with transaction.atomic():
        # Whoever ends the last part sees all others ended: they queue here.
        row = Look.objects.select_for_update().get(pk=look.pk)
        parts = list(row.parts.order_by("number"))
        ended = (LookPart.State.DONE, LookPart.State.FAILED)
        if row.state != Look.State.RUNNING or any(one.state not in ended for one in parts):
            return False
        whole = [one for one in parts if one.state == LookPart.State.DONE]
        failed = [one for one in parts if one.state == LookPart.State.FAILED]
        seen = [Seen.from_json(one) for part in whole for one in part.seen]
        verdicts.take_verdicts(now=now)
        sifted = sift(
            seen,
            judged=sum(one.judged for one in whole),
            machines=[machine for one in whole for machine in one.machines],
            look=row,
            limits=WatchLimits.the(),
        )
        written = recording.write(sifted, look=row, now=now)
        row.columns = sum(one.judged for one in whole)
        row.mark = sifted.mark
        row.found = len(sifted.stand)
        row.opened, row.recovered = len(written.opened), written.recovered
        row.ticketed = len(ruling.apply(look=row, now=now))
        row.state = Look.State.FAILED if failed else Look.State.DONE
        row.finished_at = now
        row.outcome = _said(row, sifted, failed)
        row.save()
        # What the parts saw stands in the findings now.
        row.parts.update(seen=[])
        if row.over != Look.Over.NEWS:
            audit.record(
                actor=None,
                verb="finish look",
                row=row,
                now=now,
                after={"state": row.state, "outcome": row.outcome},
            )
    return True


def _said(look: Look, sifted: Sifted, failed: list[LookPart]) -> str:
    said = (
        f"{look.found} findings at {look.machines} machines, {look.opened} of them new; "
        f"{look.recovered} recovered; {look.columns} silences judged."
    )
    if sifted.hushed:
        said += f" {sifted.hushed} held back, as dismissed before."
    if failed:
        why = "; ".join(f"part {one.number}: {one.error}" for one in failed)
        said = f"{why}. {said}"
    return said[:300]
