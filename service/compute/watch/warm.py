"""A cabinet that is too warm, by its temperature readings. Degrees Celsius, minutes.

What spoils is decided by the product, its maker and local food law; the limit is the operator's.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from .arrays import floats, in_order, refuse_unless
from .suspicion import Kind, Suspicion, strength_over

#: The Food and Drug Administration's model Food Code holds cold food at 41 °F (5 °C) or less
#: (section 3-501.16; from memory); drinks in sealed bottles are no such food, and 8 °C is common.
LIMIT_C: Final = 5.0
#: Warm for so long before it is told: a door that stood open while filling recovers in less;
#: common practice, no published source.
TOLERATED_MINUTES: Final = 60.0
#: Beyond this distance between two readings nobody knows what was in between.
MOST_GAP_MINUTES: Final = 180.0
#: After the door was closed the cabinet may take so long to be cold again.
RECOVERY_MINUTES: Final = 90.0


@dataclass(frozen=True, slots=True)
class WarmJudged:
    """What readings say of one cabinet.

    longest_minutes   the longest time without a break above the limit
    longest_from      moment (minutes) at which that began; None where it never was
    warmest_c         the warmest reading outside recovery
    now_c             the last reading
    still_warm        whether it is above the limit at the last reading
    """

    limit_c: float
    tolerated_minutes: float
    longest_minutes: float
    longest_from: float | None
    above_minutes: float
    warmest_c: float | None
    now_c: float | None
    still_warm: bool
    readings: int

    @property
    def found(self) -> bool:
        return self.longest_minutes > self.tolerated_minutes

    def suspicion(self) -> Suspicion:
        """The cabinet in words."""
        warmest = self.warmest_c if self.warmest_c is not None else self.limit_c
        said = (
            f"Above {self.limit_c:g} °C for {_time(self.longest_minutes)} without a break, up to "
            f"{warmest:.1f} °C; "
        )
        if self.now_c is None:
            said += "no reading since."
        else:
            said += f"{'still ' if self.still_warm else 'now '}{self.now_c:.1f} °C."
        return Suspicion(
            kind=Kind.WARM,
            p_value=None,
            strength=strength_over(self.longest_minutes, self.tolerated_minutes),
            said=said,
            numbers={
                "limit_c": self.limit_c,
                "tolerated_minutes": self.tolerated_minutes,
                "longest_minutes": self.longest_minutes,
                "above_minutes": self.above_minutes,
                "warmest_c": self.warmest_c,
                "now_c": self.now_c,
                "still_warm": self.still_warm,
                "readings": self.readings,
            },
        )


def judge(
    minutes: Sequence[float],
    celsius: Sequence[float],
    *,
    limit_c: float = LIMIT_C,
    tolerated_minutes: float = TOLERATED_MINUTES,
    most_gap_minutes: float = MOST_GAP_MINUTES,
    visits: Sequence[float] = (),
    recovery_minutes: float = RECOVERY_MINUTES,
) -> WarmJudged:
    """Judge readings in order of time; `minutes` from any origin, as are the ends of `visits`.

    Between readings the temperature goes in a straight line; over a gap longer than
    `most_gap_minutes` nothing is known and a warm spell ends. After each visit it may be above the
    limit for `recovery_minutes`. Raises BadEvidence.
    """
    when, reading = floats("minutes", minutes), floats("celsius", celsius, len(minutes))
    in_order("minutes", minutes)
    refuse_unless("tolerated_minutes", tolerated_minutes > 0, "must be above 0")
    calm = [(end, end + recovery_minutes) for end in visits]
    spells: list[tuple[float, float]] = []
    for index in range(1, len(when)):
        begin, end = float(when[index - 1]), float(when[index])
        if end <= begin or end - begin > most_gap_minutes:
            continue
        piece = _above(begin, end, float(reading[index - 1]), float(reading[index]), limit_c)
        for one in _outside(piece, calm):
            if spells and one[0] <= spells[-1][1] + 1e-9:
                spells[-1] = (spells[-1][0], one[1])
            else:
                spells.append(one)
    longest = max(spells, key=lambda one: one[1] - one[0], default=None)
    outside = [
        float(value)
        for at, value in zip(when, reading, strict=True)
        if not any(begin <= at < end for begin, end in calm)
    ]
    last = float(reading[-1]) if len(reading) else None
    return WarmJudged(
        limit_c=limit_c,
        tolerated_minutes=tolerated_minutes,
        longest_minutes=longest[1] - longest[0] if longest else 0.0,
        longest_from=longest[0] if longest else None,
        above_minutes=sum(end - begin for begin, end in spells),
        warmest_c=max(outside, default=None),
        now_c=last,
        still_warm=last is not None and last > limit_c,
        readings=len(when),
    )


def _above(
    begin: float, end: float, first: float, last: float, limit: float
) -> tuple[float, float] | None:
    """The part of a straight line that lies above the limit."""
    if first <= limit and last <= limit:
        return None
    if first > limit and last > limit:
        return begin, end
    crossing = begin + (end - begin) * (limit - first) / (last - first)
    return (crossing, end) if last > limit else (begin, crossing)


def _outside(
    piece: tuple[float, float] | None, calm: Sequence[tuple[float, float]]
) -> list[tuple[float, float]]:
    """What is left of a piece outside the calm times."""
    left = [] if piece is None else [piece]
    for begin, end in calm:
        rest = []
        for one in left:
            rest += [(one[0], min(one[1], begin)), (max(one[0], end), one[1])]
        left = [one for one in rest if one[1] > one[0]]
    return left


def _time(minutes: float) -> str:
    return f"{minutes:.0f} min" if minutes < 120 else f"{minutes / 60:.1f} h"
