"""Every sign there is, and which of them the facts of a case answer.

How often each is seen is our own estimate, common practice at best: it stands for `causes.WORTH`
closed tickets and gives way to what closed tickets show.
"""

from __future__ import annotations

from typing import Final

from .facts import ColumnFacts
from .sign import Sign
from .signs_course import OF_COURSE
from .signs_events import OF_EVENTS
from .signs_set_up import OF_SET_UP

SIGNS: Final[tuple[Sign, ...]] = (*OF_SET_UP, *OF_COURSE, *OF_EVENTS)


def signs_of(facts: ColumnFacts) -> dict[str, bool]:
    """Every sign that the facts answer, by code: what is kept with a finding to learn from."""
    return {sign.code: answer for sign in SIGNS if (answer := sign.asks(facts)) is not None}
