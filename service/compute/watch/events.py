"""What a machine reports of itself, as a suspicion among the others."""

from __future__ import annotations

from typing import Final

from .arrays import refuse_unless
from .suspicion import Kind, Suspicion

#: Strength by the urgency of what is reported (`fleet.compute.audit.events`): so that a machine
#: that sells nothing stands with what is sure, and what can wait at the end. Our own choice.
STRENGTHS: Final = {"now": 4.0, "soon": 2.5, "next_visit": 1.0, "none": 0.0}


def suspicion(code: str, words: str, about: str, urgency: str, active_days: float) -> Suspicion:
    """An event that stands active; `active_days` since the first read that told of it.

    Raises BadEvidence for an urgency that is none of STRENGTHS, or days below zero.
    """
    refuse_unless("urgency", urgency in STRENGTHS, f"must be one of {', '.join(STRENGTHS)}")
    refuse_unless("active_days", active_days >= 0, "cannot be below zero")
    since = "since its last read" if active_days < 1 else f"for {_days(active_days)}"
    return Suspicion(
        kind=Kind.EVENT,
        p_value=None,
        strength=STRENGTHS[urgency],
        said=f"The machine reports {since}: {_lower(words)} ({about}, code {code}).",
        numbers={"code": code, "urgency": urgency, "active_days": active_days},
    )


def _days(days: float) -> str:
    return "a day" if round(days) == 1 else f"{days:.0f} days"


def _lower(words: str) -> str:
    return words[:1].lower() + words[1:]
