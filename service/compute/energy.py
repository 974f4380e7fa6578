"""How much a refrigerated vending machine may use a day, and whether what was measured agrees.

Limits: 10 CFR 431.296, by equipment class, refrigerated volume and the day of manufacture. Energy
in kWh, volumes in litres (the rule's are cubic feet), all Decimal.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_HALF_EVEN, Decimal
from enum import StrEnum
from typing import Final

from fleet.compute.units import BadMeasure

LITRES_PER_CUBIC_FOOT: Final = Decimal("28.316846592")
"""(0.3048 m)^3, exactly: the foot is 0.3048 m (International yard and pound agreement, 1959)."""
CITATION: Final = "10 CFR 431.296"
STATUS: Final = "read"
MOST_LITRES: Final = Decimal(10_000)
MOST_KWH: Final = Decimal(100_000)
SHORT_DAYS: Final = 7
"""Less than a week does not show how use differs by day; common practice, no published source."""


class EnergyClass(StrEnum):
    """Equipment classes of 10 CFR 431.292. The words of combinations are from memory."""

    A = "A"
    B = "B"
    COMBINATION_A = "combination A"
    COMBINATION_B = "combination B"


@dataclass(frozen=True, slots=True)
class _Era:
    """Limits of machines made from `begins` on: kWh a day = slope x cubic feet + fixed."""

    begins: date
    formulas: Mapping[EnergyClass, tuple[Decimal, Decimal]]


ERAS: Final = (
    _Era(
        date(2019, 1, 8),
        {
            EnergyClass.A: (Decimal("0.052"), Decimal("2.43")),
            EnergyClass.B: (Decimal("0.052"), Decimal("2.20")),
            EnergyClass.COMBINATION_A: (Decimal("0.086"), Decimal("2.66")),
            EnergyClass.COMBINATION_B: (Decimal("0.111"), Decimal("2.04")),
        },
    ),
    _Era(
        date(2012, 8, 31),
        {
            EnergyClass.A: (Decimal("0.055"), Decimal("2.56")),
            EnergyClass.B: (Decimal("0.073"), Decimal("3.16")),
        },
    ),
)


@dataclass(frozen=True, slots=True)
class Limit:
    """The daily limit; `kwh_per_day` is None where the rule sets none, and `why` says so."""

    kwh_per_day: Decimal | None
    volume_ft3: Decimal
    formula: str
    citation: str
    status: str
    why: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Judged:
    """What was measured, a day and a year, beside the limit. `within` is None without a limit."""

    kwh_per_day: Decimal
    kwh_per_year: Decimal
    share: Decimal | None
    within: bool | None
    said: str


def limit(energy_class: EnergyClass, volume_l: Decimal, made_on: date) -> Limit:
    """The most a machine of this class and refrigerated volume may use a day. Raises BadMeasure."""
    if not volume_l.is_finite() or not 0 < volume_l <= MOST_LITRES:
        raise BadMeasure(
            "volume_l", f"{volume_l} L cannot be used; give more than 0 and up to {MOST_LITRES} L"
        )
    volume_ft3 = volume_l / LITRES_PER_CUBIC_FOOT
    era = next((one for one in ERAS if made_on >= one.begins), None)
    shown = volume_ft3.quantize(Decimal("0.01"), rounding=ROUND_HALF_EVEN)
    if era is None:
        why = f"made before {ERAS[-1].begins}, when no limit stood"
        return Limit(None, shown, "", CITATION, STATUS, (why,))
    found = era.formulas.get(energy_class)
    if found is None:
        why = f"for {energy_class} made from {era.begins} on the rule has reserved its place"
        return Limit(None, shown, "", CITATION, STATUS, (why,))
    slope, fixed = found
    kwh = (slope * volume_ft3 + fixed).quantize(Decimal("0.0001"), rounding=ROUND_HALF_EVEN)
    return Limit(
        kwh,
        shown,
        f"{slope} V + {fixed}",
        CITATION,
        STATUS,
        (
            f"class {energy_class}, made on or after {era.begins}",
            f"{slope} x {shown} ft3 + {fixed} kWh a day",
        ),
    )


def judge(kwh: Decimal, days: Decimal, allowed: Limit) -> Judged:
    """What was measured over so many days, beside the limit. Raises BadMeasure.

    The limit is of the test in a laboratory (appendix B to subpart Q); a machine in a hot hall, or
    filled warm, uses more without being at fault.
    """
    if not kwh.is_finite() or not 0 <= kwh <= MOST_KWH:
        raise BadMeasure("kwh", f"{kwh} kWh cannot be used; give from 0 to {MOST_KWH} kWh")
    if not days.is_finite() or not 0 < days <= 3660:
        raise BadMeasure("days", f"{days} days cannot be used; give more than 0, up to ten years")
    a_day = (kwh / days).quantize(Decimal("0.001"), rounding=ROUND_HALF_EVEN)
    a_year = (kwh / days * 365).quantize(Decimal(1), rounding=ROUND_HALF_EVEN)
    short = f"; {days:.1f} days are few" if days < SHORT_DAYS else ""
    most = allowed.kwh_per_day
    if most is None:
        return Judged(a_day, a_year, None, None, f"{a_day} kWh a day; no limit stands{short}")
    share = (kwh / days / most).quantize(Decimal("0.001"), rounding=ROUND_HALF_EVEN)
    within = kwh / days <= most
    word = "within" if within else "above"
    said = f"{a_day} kWh a day, {word} the {most} that the laboratory's test allows{short}"
    return Judged(a_day, a_year, share, within, said)
