"""All that the numbers say of some machines, and how many silences were judged for it."""

from collections.abc import Sequence
from datetime import datetime

from ..known import Known
from ..models import WatchLimits
from ..seen import Seen
from . import bags, clocks, counted, dry, reported, silence, takings


def look_at(
    machines: Sequence[int], *, now: datetime, limits: WatchLimits
) -> tuple[int, list[Seen]]:
    """How many columns' silence was judged, and everything suspicious about these machines.

    The same number of queries whatever the machines. Of silences those are told that a look over
    the whole fleet could find; which it does find is for that look to say.
    """
    known = Known.of(machines, now=now, limits=limits)
    silences = silence.silences(known)
    silent = {one.column for one in silences.seen if one.column is not None}
    return silences.judged, [
        *silences.seen,
        *counted.unaccounted(known),
        *takings.takings(known),
        *bags.bags(known),
        *dry.losses(known, silent),
        *reported.events(known),
        *reported.power_losses(known),
        *clocks.clocks(known),
    ]
