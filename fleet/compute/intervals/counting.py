"""One counter, read twice: how far it went."""

from enum import StrEnum
from typing import Final, NamedTuple

#: A wrap is believed only over less than this part of the counter's range. The earlier reading then
#: stood in the top tenth, since all of the way up to the top is part of what was counted.
MOST_WRAPPED_PERCENT: Final = 10


class How(StrEnum):
    """How an amount was come by; the last two leave it unknown."""

    COUNTED = "counted"
    WRAPPED = "wrapped"
    SINCE_RESET = "since_reset"
    FROM_ZERO = "from_zero"
    BLANK = "blank"
    WENT_BACK = "went_back"


class Step(NamedTuple):
    """How far a counter went, None where that cannot be known, and how we know. Never negative."""

    amount: int | None
    how: How


def step(
    before: int | None, after: int | None, modulus: int | None, ceiling: int | None = None
) -> Step:
    """The way from one reading of a never-reset counter to the next.

    A lower reading is a wrap only if the earlier one stood near the top of the counter's range,
    the way across the top is short, and it is no more than `ceiling` (what another counter says
    is possible); otherwise the counter went back and the amount is unknown. The limit of a tenth
    of the range is our own choice: no published source.
    """
    if before is None or after is None:
        return Step(None, How.BLANK)
    if after >= before:
        return Step(after - before, How.COUNTED)
    if modulus is not None and after < modulus and before < modulus:
        wrapped = after + modulus - before
        short = wrapped * 100 < modulus * MOST_WRAPPED_PERCENT
        if short and (ceiling is None or wrapped <= ceiling):
            return Step(wrapped, How.WRAPPED)
    return Step(None, How.WENT_BACK)


class Resets(StrEnum):
    """What happened to the since-reset counters between two reads."""

    NONE = "none"
    AT_THE_FIRST_READ = "at_the_first_read"
    BY_OTHERS = "by_others"
    UNKNOWN = "unknown"


def since_reset_step(before: int | None, after: int | None, resets: Resets) -> Step:
    """The amount from since-reset counters: only where nobody else reset between the reads."""
    if after is None:
        return Step(None, How.BLANK)
    if resets is Resets.AT_THE_FIRST_READ:
        return Step(after, How.SINCE_RESET)
    if resets is Resets.NONE and before is not None and after >= before:
        return Step(after - before, How.SINCE_RESET)
    return Step(None, How.BLANK)
