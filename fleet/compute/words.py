"""Notches said as a hand finds them, and read back."""

from __future__ import annotations

from fleet.compute.rails import End, Rail
from fleet.compute.units import BadMeasure

_ONES = (
    "zero",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
)
_ORDINALS = (
    "zeroth",
    "first",
    "second",
    "third",
    "fourth",
    "fifth",
    "sixth",
    "seventh",
    "eighth",
    "ninth",
    "tenth",
    "eleventh",
    "twelfth",
)


def number_in_words(count: int) -> str:
    """`7` -> `seven`; figures above twelve."""
    return _ONES[count] if 0 <= count < len(_ONES) else str(count)


def ordinal_in_words(count: int) -> str:
    """`2` -> `second`; figures above twelve (`21st`)."""
    if 0 <= count < len(_ORDINALS):
        return _ORDINALS[count]
    ending = "th" if count % 100 in (11, 12, 13) else {1: "st", 2: "nd", 3: "rd"}.get(count % 10)
    return f"{count}{ending or 'th'}"


def said(rail: Rail, end: End, notch: int) -> str:
    """A notch as a hand finds it, such as `the second mark, then one more`.

    The two ends of a rail are said by themselves, since a hand feels them without counting.
    Marks are counted from the rail's own zero, which is not a mark. Raises BadMeasure when the
    rail has no such notch.
    """
    rail.distance_mm(notch)
    if rail.notches == 1:
        return "zero"
    toward_door, toward_wall = "fully forward", "fully back"
    outer, inner = (toward_door, toward_wall) if end is End.FRONT else (toward_wall, toward_door)
    at_end = {rail.outermost: outer, rail.innermost: inner}.get(notch)
    if at_end:
        return f"zero, {at_end}" if notch == 0 else at_end
    if rail.mark_every == 0:
        return f"{number_in_words(notch)} past zero"
    marks, more = divmod(notch, rail.mark_every)
    if marks == 0:
        return f"{number_in_words(more)} past zero"
    mark = f"the {ordinal_in_words(marks)} mark"
    return f"{mark}, then {number_in_words(more)} more" if more else mark


def notch_said(text: str, rail: Rail, end: End) -> int:
    """The notch that `said` speaks of, or a bare number. Raises BadMeasure when there is none."""
    plain = " ".join(text.lower().replace(",", " ").split())
    if plain.isdecimal():
        rail.distance_mm(int(plain))
        return int(plain)
    for notch in range(rail.notches):
        words = said(rail, end, notch).replace(",", "")
        if plain == words or (notch == 0 and plain == "zero"):
            return notch
    raise BadMeasure(
        "notch",
        f"{text!r} names no notch of this rail; say it as {said(rail, end, 0)!r}, "
        f"or give a number from 0 to {rail.notches - 1}",
    )
