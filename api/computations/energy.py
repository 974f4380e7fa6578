"""`compute energy`: what a refrigerated machine may use a day, and what was measured beside it."""

from dataclasses import dataclass
from datetime import date
from decimal import ROUND_DOWN, Decimal

from pydantic.dataclasses import dataclass as checked

from service.compute.energy import (
    LITRES_PER_CUBIC_FOOT,
    MOST_LITRES,
    EnergyClass,
    Judged,
    Limit,
    judge,
    limit,
)

from .asking import ASKED_STRICTLY, BadQuestion, Computation, Fault


@checked(frozen=True, config=ASKED_STRICTLY)
class EnergyQuestion:
    """One machine: its class, its refrigerated volume in litres or cubic feet, when it was made.

    `kwh` over `days` is what was measured, if anything was.
    """

    energy_class: EnergyClass
    made_on: date
    volume_l: Decimal | None = None
    volume_ft3: Decimal | None = None
    kwh: Decimal | None = None
    days: Decimal | None = None


@dataclass(frozen=True)
class EnergyAnswer:
    """The limit and, where something was measured, what was found beside it."""

    limit: Limit
    measured: Judged | None


def _energy(question: EnergyQuestion) -> EnergyAnswer:
    if (question.volume_l is None) == (question.volume_ft3 is None):
        detail = "Give volume_l or volume_ft3, and not both."
        raise BadQuestion((Fault("/volume_l", detail, "litres_or_cubic_feet"),))
    if (question.kwh is None) != (question.days is None):
        detail = "Give kwh and the days over which it was measured, or neither."
        raise BadQuestion((Fault("/days", detail, "kwh_with_days"),))
    volume_l = question.volume_l
    if volume_l is None:
        volume_l = _litres(question.volume_ft3 or Decimal(0))
    allowed = limit(question.energy_class, volume_l, question.made_on)
    if question.kwh is None or question.days is None:
        return EnergyAnswer(allowed, None)
    return EnergyAnswer(allowed, judge(question.kwh, question.days, allowed))


def _litres(volume_ft3: Decimal) -> Decimal:
    """Litres of what was asked in cubic feet; a fault is told in the unit of the asker."""
    most = (MOST_LITRES / LITRES_PER_CUBIC_FOOT).quantize(Decimal(1), rounding=ROUND_DOWN)
    if not 0 < volume_ft3 <= most:
        detail = f"{volume_ft3} ft3 cannot be used; give more than 0 and up to {most} ft3"
        raise BadQuestion((Fault("/volume_ft3", detail, "bad_measure"),))
    return volume_ft3 * LITRES_PER_CUBIC_FOOT


ENERGY = Computation(
    "energy",
    "What a refrigerated machine may use a day, and what was measured beside it.",
    EnergyQuestion,
    EnergyAnswer,
    _energy,
)
