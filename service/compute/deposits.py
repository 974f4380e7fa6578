"""What a container's deposit is: by state, day, size, material and drink.

Amounts in dollars, volumes in mL. Every answer carries the citation and how far it was checked:
`read` (the statute itself), `secondary` (a text about it) or `memory`. This is no tax advice.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from enum import StrEnum
from typing import Final, TypeAlias

from fleet.compute.units import BadMeasure

ML_PER_FLUID_OUNCE: Final = Decimal("29.5735295625")
"""231 cubic inches / 128, exactly (NIST Handbook 44, appendix C)."""
GALLON_ML: Final = 128 * ML_PER_FLUID_OUNCE
MOST_ML: Final = Decimal(100_000)
MATERIALS: Final = ("aluminium", "steel", "plastic", "glass", "carton", "film")
NONE: Final = Decimal("0.00")


class Alcohol(StrEnum):
    NONE = ""
    BEER = "beer"
    WINE = "wine"
    SPIRITS = "spirits"


class Water(StrEnum):
    NONE = ""
    PLAIN = "plain"
    FLAVOURED = "flavoured"


@dataclass(frozen=True, slots=True)
class Drink:
    """What a state asks of a drink. None is not known; where it matters no deposit is named."""

    carbonated: bool | None = None
    sweetened: bool | None = None
    contains_milk: bool | None = None
    juice_percent: int | None = None
    water: Water = Water.NONE
    alcohol: Alcohol = Alcohol.NONE


@dataclass(frozen=True, slots=True)
class Deposit:
    """What a customer pays and gets back for one container; None where a fact is missing.

    `fee` is what a distributor pays on top and nobody gets back. `missing` names the facts of the
    drink that must be known first. `notice` is what must be posted at the machine.
    """

    state: str
    amount: Decimal | None
    fee: Decimal
    citation: str
    status: str
    why: tuple[str, ...]
    missing: tuple[str, ...] = ()
    notice: str = ""


@dataclass(frozen=True, slots=True)
class _Asked:
    on: date
    volume_ml: Decimal
    material: str
    drink: Drink

    def below(self, fluid_ounces: int | Decimal) -> bool:
        """Smaller than so many fluid ounces, to the hundredth of a mL as sizes are kept."""
        return _hundredth(self.volume_ml) < _hundredth(fluid_ounces * ML_PER_FLUID_OUNCE)

    @property
    def ounces(self) -> str:
        return f"{self.volume_ml / ML_PER_FLUID_OUNCE:.1f} fl oz"


class _Missing(Exception):
    """A fact of the drink that decides and is not known."""

    def __init__(self, field: str) -> None:
        super().__init__(field)
        self.field = field


_Found: TypeAlias = tuple[Decimal, str]


@dataclass(frozen=True, slots=True)
class _Law:
    citation: str
    status: str
    find: Callable[[_Asked], _Found]
    fee: Decimal = NONE
    notice: str = ""


def deposit(state: str, on: date, *, volume_ml: Decimal, material: str, drink: Drink) -> Deposit:
    """The deposit on one container sold in a state (two letters) on a day.

    A state without a law entered has no deposit, and the answer says so. Raises BadMeasure.
    """
    code = state.strip().upper()
    if len(code) != 2 or not code.isalpha():
        raise BadMeasure("state", f"{state!r} is no state; give its two letters")
    if not volume_ml.is_finite() or not 0 < volume_ml <= MOST_ML:
        raise BadMeasure("volume_ml", f"{volume_ml} mL; give more than 0 and up to {MOST_ML} mL")
    if material not in MATERIALS:
        raise BadMeasure("material", f"{material!r}; give one of {', '.join(MATERIALS)}")
    law = _LAWS.get(code)
    if law is None:
        why = f"no law on container deposits is entered for {code}"
        return Deposit(code, NONE, NONE, "", "", (why,))
    asked = _Asked(on, volume_ml, material, drink)
    try:
        amount, why = law.find(asked)
    except _Missing as error:
        fact = error.field.replace("_", " ")
        why = f"{code} goes by this of the drink, which is not known: {fact}"
        return Deposit(code, None, NONE, law.citation, law.status, (why,), (error.field,))
    fee = law.fee if amount else NONE
    notice = law.notice if amount else ""
    return Deposit(code, amount, fee, law.citation, law.status, (why,), notice=notice)


FIVE: Final = Decimal("0.05")
TEN: Final = Decimal("0.10")
FIFTEEN: Final = Decimal("0.15")
_HARD: Final = ("aluminium", "steel", "plastic", "glass")
_MILK: Final = "milk drinks carry no deposit"


def _california(asked: _Asked) -> _Found:
    drink = asked.drink
    if drink.alcohol in (Alcohol.WINE, Alcohol.SPIRITS) and asked.material in ("carton", "film"):
        if asked.on < date(2024, 1, 1):
            return NONE, "wine and spirits in a box or pouch carry one from 1 January 2024"
        return Decimal("0.25"), "wine or spirits in a box, bladder or pouch"
    if asked.material not in _HARD:
        return NONE, f"{asked.material} is none of aluminium, glass, plastic and bimetal"
    if drink.alcohol is Alcohol.NONE and drink.water is Water.NONE:
        if _known(drink, "contains_milk"):
            return NONE, _MILK
        if not asked.below(46) and _known(drink, "juice_percent") == 100:
            return NONE, f"juice of 46 fl oz and more, {asked.ounces}"
    if asked.below(24):
        return FIVE, f"{asked.ounces}, below 24 fl oz"
    return TEN, f"{asked.ounces}, 24 fl oz and more"


def _connecticut(asked: _Asked) -> _Found:
    drink = asked.drink
    if asked.volume_ml < 150:
        return NONE, f"{asked.volume_ml} mL, below 150 mL"
    fizzy = drink.alcohol is Alcohol.BEER or _known(drink, "carbonated")
    most_l = Decimal(3) if fizzy else Decimal("2.5")
    if asked.volume_ml > most_l * 1000:
        return NONE, f"{asked.volume_ml} mL, above {most_l} L"
    if not fizzy and drink.water is Water.NONE:
        if drink.alcohol is not Alcohol.NONE:
            return NONE, "wine and spirits carry none"
        if asked.on < date(2023, 1, 1):
            return NONE, "still drinks other than water carry one from 1 January 2023 (from memory)"
        if _known(drink, "contains_milk"):
            return NONE, _MILK
    if asked.on < date(2024, 1, 1):
        return FIVE, "5 cents before 1 January 2024"
    return TEN, "10 cents from 1 January 2024"


def _hawaii(asked: _Asked) -> _Found:
    if asked.material not in _HARD:
        return NONE, f"{asked.material} is none of plastic, metal and glass"
    if _is_milk(asked.drink):
        return NONE, _MILK
    return FIVE, "5 cents, and a container fee that the distributor pays"


def _iowa(asked: _Asked) -> _Found:
    if asked.drink.alcohol is not Alcohol.NONE:
        return FIVE, "alcoholic"
    if _known(asked.drink, "carbonated"):
        return FIVE, "carbonated"
    return NONE, "neither carbonated nor alcoholic"


def _maine(asked: _Asked) -> _Found:
    if asked.drink.alcohol in (Alcohol.WINE, Alcohol.SPIRITS):
        if asked.volume_ml > 50:
            return FIFTEEN, "wine or spirits above 50 mL"
        return FIVE, "wine or spirits up to 50 mL"
    if _is_milk(asked.drink):
        return NONE, _MILK
    return FIVE, "nearly every drink but milk"


def _massachusetts(asked: _Asked) -> _Found:
    if asked.drink.alcohol is Alcohol.BEER:
        return FIVE, "beer"
    if asked.drink.alcohol is not Alcohol.NONE:
        return NONE, "wine and spirits carry none"
    if _known(asked.drink, "carbonated"):
        return FIVE, "carbonated soft drink or mineral water"
    return NONE, "still; only a mineral water would carry one"


def _michigan(asked: _Asked) -> _Found:
    if asked.volume_ml >= GALLON_ML:
        return NONE, "a gallon and more"
    if asked.drink.alcohol is Alcohol.BEER:
        return TEN, "beer"
    if asked.drink.alcohol is not Alcohol.NONE:
        return NONE, "wine and spirits carry none"
    if _known(asked.drink, "carbonated"):
        return TEN, "carbonated, below a gallon"
    return NONE, "not carbonated"


def _new_york(asked: _Asked) -> _Found:
    drink = asked.drink
    if asked.volume_ml >= GALLON_ML:
        return NONE, "a gallon and more"
    if drink.alcohol is Alcohol.BEER:
        return FIVE, "beer"
    if drink.alcohol is not Alcohol.NONE:
        return NONE, "wine and spirits carry none"
    if _known(drink, "carbonated"):
        return FIVE, "carbonated, below a gallon"
    if drink.water is Water.NONE:
        return NONE, "neither carbonated nor water"
    if drink.water is Water.FLAVOURED and _known(drink, "sweetened"):
        return NONE, "water with sugar added"
    return FIVE, "water without sugar added"


def _oregon(asked: _Asked) -> _Found:
    drink = asked.drink
    amount = FIVE if asked.on < date(2017, 4, 1) else TEN
    since = "5 cents before 1 April 2017" if amount is FIVE else "10 cents from 1 April 2017"
    if drink.alcohol in (Alcohol.WINE, Alcohol.SPIRITS):
        return NONE, "wine and spirits carry none"
    fizzy = drink.alcohol is Alcohol.BEER or drink.water is not Water.NONE
    if fizzy or _known(drink, "carbonated"):
        if asked.volume_ml > 3000:
            return NONE, "beer, soda or water above 3 L"
        return amount, f"beer, soda or water up to 3 L; {since}"
    if asked.on < date(2018, 1, 1):
        return NONE, "other drinks carry one from 1 January 2018"
    if _known(drink, "contains_milk"):
        return NONE, _MILK
    if asked.below(4) or asked.volume_ml > 1500:
        return NONE, f"{asked.ounces}; other drinks carry one from 4 fl oz to 1.5 L"
    return amount, f"4 fl oz to 1.5 L; {since}"


def _vermont(asked: _Asked) -> _Found:
    drink = asked.drink
    if drink.alcohol is Alcohol.SPIRITS:
        if asked.volume_ml > 50:
            return FIFTEEN, "liquor above 50 mL"
        return NONE, "liquor up to 50 mL"
    if drink.alcohol is Alcohol.BEER:
        return FIVE, "beer"
    if drink.alcohol is Alcohol.WINE:
        return NONE, "wine carries none, but mixed wine drinks do"
    if _known(drink, "carbonated"):
        return FIVE, "soda or mineral water"
    return NONE, "neither soda nor mineral water"


_LAWS: Final[Mapping[str, _Law]] = {
    "CA": _Law("Cal. Pub. Res. Code 14504, 14560", "read", _california),
    "CT": _Law(
        "Conn. Gen. Stat. 22a-244(a); sizes from a secondary text", "secondary", _connecticut
    ),
    "HI": _Law("Haw. Rev. Stat. 342G-102, -110, -111(f)", "read", _hawaii, fee=Decimal("0.01")),
    "IA": _Law("Iowa Code 455C.2", "read", _iowa),
    "ME": _Law("38 M.R.S. 3103", "read", _maine),
    "MA": _Law(
        "Mass. Gen. Laws c. 94 s. 321-325",
        "read",
        _massachusetts,
        notice="Post where it can be seen that at least 5 cents are paid back on each container, "
        "and where (s. 325(b)).",
    ),
    "MI": _Law("Mich. Comp. Laws 445.571 ff; scope from a secondary text", "secondary", _michigan),
    "NY": _Law(
        "N.Y. Envtl. Conserv. Law 27-1003; amount from a secondary text", "secondary", _new_york
    ),
    "OR": _Law("Or. Rev. Stat. 459A.705; from a secondary text", "secondary", _oregon),
    "VT": _Law("10 V.S.A. 1521-1522", "read", _vermont),
}
STATES: Final = tuple(sorted(_LAWS))


def _known(drink: Drink, field: str) -> bool | int:
    value: bool | int | None = getattr(drink, field)
    if value is None:
        raise _Missing(field)
    return value


def _is_milk(drink: Drink) -> bool:
    if drink.water is not Water.NONE or drink.alcohol is not Alcohol.NONE:
        return False
    return bool(_known(drink, "contains_milk"))


def _hundredth(volume_ml: Decimal) -> Decimal:
    return volume_ml.quantize(Decimal("0.01"), rounding=ROUND_HALF_UP)
