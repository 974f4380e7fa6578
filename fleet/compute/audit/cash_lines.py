"""Money piece by piece: coins by value (CA11-13), bills by value (CA14), tubes (CA15, CA17)."""

from collections.abc import Iterable

from fleet.compute.audit.report import BillLine, CoinLine, Segment, TubeLine, Tubes
from fleet.compute.audit.values import Values, places

_IN = places("CA11", "in")
_TO_BOX = places("CA11", "to_box")
_TO_TUBES = places("CA11", "to_tubes")
_OUT = places("CA12", "out")
_OUT_BY_HAND = places("CA12", "out_by_hand")
_FILLED = places("CA13", "filled")
_VALIDATED = places("CA14", "validated")
_STACKED = places("CA14", "stacked")
_BLANK = Segment(0, "", ())


def read_coins(segments: Iterable[Segment], values: Values) -> tuple[CoinLine, ...]:
    """One line for each coin value, in the order the values were met.

    Where a value occurs again for another issue of the coin (its age or country), each occurrence
    is a line of its own.
    """
    order: list[tuple[int, int]] = []
    found: dict[tuple[int, int], dict[str, Segment]] = {}
    seen: dict[tuple[str, int], int] = {}
    for segment in segments:
        value = values.number(segment, 1)
        if value is None:
            continue
        occurrence = seen[segment.id, value] = seen.get((segment.id, value), 0) + 1
        key = (value, occurrence)
        if key not in found:
            found[key] = {}
            order.append(key)
        found[key][segment.id] = segment
    return tuple(_coin(key[0], found[key], values) for key in order)


def _coin(value_minor: int, sent: dict[str, Segment], values: Values) -> CoinLine:
    taken, paid, filled = (sent.get(name, _BLANK) for name in ("CA11", "CA12", "CA13"))
    in_ever, in_since = values.counts(taken, _IN)
    box_ever, box_since = values.counts(taken, _TO_BOX)
    tubes_ever, tubes_since = values.counts(taken, _TO_TUBES)
    out_ever, out_since = values.counts(paid, _OUT)
    hand_ever, hand_since = values.counts(paid, _OUT_BY_HAND)
    filled_ever, filled_since = values.counts(filled, _FILLED)
    return CoinLine(
        value_minor=value_minor,
        in_ever=in_ever,
        in_since_reset=in_since,
        to_box_ever=box_ever,
        to_box_since_reset=box_since,
        to_tubes_ever=tubes_ever,
        to_tubes_since_reset=tubes_since,
        out_ever=out_ever,
        out_since_reset=out_since,
        out_by_hand_ever=hand_ever,
        out_by_hand_since_reset=hand_since,
        filled_ever=filled_ever,
        filled_since_reset=filled_since,
    )


def read_bills(segments: Iterable[Segment], values: Values) -> tuple[BillLine, ...]:
    """One line for each CA14."""
    lines = []
    for segment in segments:
        value = values.number(segment, 1)
        if value is None:
            continue
        validated_ever, validated_since = values.counts(segment, _VALIDATED)
        stacked_ever, stacked_since = values.counts(segment, _STACKED)
        lines.append(BillLine(value, validated_ever, validated_since, stacked_ever, stacked_since))
    return tuple(lines)


def read_tubes(contents: Iterable[Segment], tubes: Iterable[Segment], values: Values) -> Tubes:
    """CA15 (its second block follows the first: coin types 8 to 15) and each CA17."""
    total: int | None = None
    counts: dict[int, int | None] = {}
    for segment in contents:
        if total is None:
            total = values.number(segment, 1)
        block = values.number(segment, 2) or 1
        if block not in (1, 2):
            continue
        for position in range(3, min(len(segment.elements), 10) + 1):
            counts[(block - 1) * 8 + position - 3] = values.number(segment, position)
    lines = []
    for segment in tubes:
        full = values.number(segment, 6)
        lines.append(
            TubeLine(
                coin_type=values.number(segment, 1),
                value_minor=values.number(segment, 2),
                count=values.number(segment, 3),
                full=None if len(segment.elements) < 6 else full == 1,
                filled_count=values.number(segment, 4),
                emptied_count=values.number(segment, 5),
            )
        )
    types = range(max(counts) + 1) if counts else ()
    return Tubes(total, tuple(counts.get(coin_type) for coin_type in types), tuple(lines))
