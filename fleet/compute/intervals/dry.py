"""Signs that a selection ran dry between two reads, the most credible first."""

from datetime import datetime

from fleet.compute.intervals.interval import Confidence, RanDry
from fleet.compute.intervals.snapshot import SelectionReading, Snapshot

_RANK = {Confidence.STRONG: 0, Confidence.FAIR: 1, Confidence.WEAK: 2}


def ran_dry(
    before: Snapshot,
    after: Snapshot,
    old: SelectionReading | None,
    new: SelectionReading,
    *,
    sold_out_date_is_last_sale: bool,
) -> tuple[RanDry, ...]:
    """Every sign in the reads, ranked. An absent motor is no sign: nothing could be sold there.

    `sold_out_date_is_last_sale` is set for models that send the date of the last sale in PA5; the
    date then says nothing, and a customer's press while sold out still does. The ranking is our
    own judgement: no published source.
    """
    if new.motor_absent or (
        new.current_level != 0
        and new.sold_out_at is None
        and not new.asked_while_sold_out
        and new.sold_out_event_active is None
        and new.sold_out_event_at is None
    ):
        return ()
    signs: list[RanDry] = []
    if new.sold_out_event_active:
        signs.append(
            RanDry(
                "event_active",
                Confidence.STRONG,
                "The machine reports it sold out now.",
                new.sold_out_event_at,
            )
        )
    elif _rose(old, new) or _inside(new.sold_out_event_at, before, after):
        signs.append(
            RanDry(
                "event",
                Confidence.STRONG,
                "The machine reported it sold out in this interval.",
                new.sold_out_event_at if _inside(new.sold_out_event_at, before, after) else None,
            )
        )
    if new.current_level == 0:
        signs.append(_level_sign(old))
    signs += _date_signs(before, after, old, new, sold_out_date_is_last_sale)
    return tuple(sorted(signs, key=lambda sign: _RANK[sign.confidence]))


def _level_sign(old: SelectionReading | None) -> RanDry:
    level = None if old is None else old.current_level
    if level is None or level > 0:
        return RanDry(
            "level_zero",
            Confidence.STRONG if level is not None else Confidence.FAIR,
            "The machine's own level came down to zero.",
        )
    return RanDry(
        "level_zero",
        Confidence.WEAK,
        "The machine's own level is zero in both reads: empty all along, or never kept.",
    )


def _date_signs(
    before: Snapshot,
    after: Snapshot,
    old: SelectionReading | None,
    new: SelectionReading,
    is_last_sale: bool,
) -> list[RanDry]:
    signs = []
    earlier = 0 if old is None else old.asked_while_sold_out or 0
    asked = new.asked_while_sold_out or 0
    if asked > earlier:
        signs.append(
            RanDry(
                "asked_while_sold_out",
                Confidence.STRONG,
                f"Customers chose it {asked - earlier} times while it was sold out.",
                new.sold_out_at if not is_last_sale else None,
            )
        )
    elif not is_last_sale and _inside(new.sold_out_at, before, after):
        signs.append(
            RanDry(
                "sold_out_date",
                Confidence.FAIR,
                "The machine dates its selling out in this interval; some models mean the last "
                "sale by it.",
                new.sold_out_at,
            )
        )
    return signs


def _rose(old: SelectionReading | None, new: SelectionReading) -> bool:
    if old is None or new.sold_out_event_count is None:
        return False
    return new.sold_out_event_count > (old.sold_out_event_count or 0)


def _inside(at: datetime | None, before: Snapshot, after: Snapshot) -> bool:
    """Whether the machine's own time lies between the two reads by the machine's own clock."""
    if at is None or before.machine_clock is None or after.machine_clock is None:
        return False
    return before.machine_clock < at <= after.machine_clock
