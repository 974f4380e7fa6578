"""`compute coins`: what a bag holds, by weight, by number and by the mix of its silver coins."""

from dataclasses import dataclass
from decimal import Decimal

from pydantic.dataclasses import dataclass as checked

from fleet.compute.coins import (
    Packed,
    Weighed,
    WeighedMix,
    by_weight,
    mixed_by_weight,
    rolls,
    straps,
)
from fleet.compute.units import BadMeasure

from .asking import ASKED_STRICTLY, BadQuestion, Computation, Fault


@checked(frozen=True, config=ASKED_STRICTLY)
class Coins:
    """Coins of one value in minor units, weighed (in g, without their box) or counted."""

    minor: int
    weight_g: Decimal | None = None
    number: int | None = None


@checked(frozen=True, config=ASKED_STRICTLY)
class Notes:
    """Notes of one value in minor units, counted."""

    minor: int
    number: int


@checked(frozen=True, config=ASKED_STRICTLY)
class CoinsQuestion:
    """What lies in a bag. `mixed_weight_g` is of dimes, quarters and half dollars unsorted."""

    coins: tuple[Coins, ...] = ()
    notes: tuple[Notes, ...] = ()
    mixed_weight_g: Decimal | None = None
    scale_g: Decimal = Decimal("0.1")
    currency: str = "USD"


@dataclass(frozen=True)
class CoinsAnswer:
    """Every part by itself, and all of it in minor units; `certain` if no weight leaves a doubt."""

    weighed: tuple[Weighed, ...]
    mixed: WeighedMix | None
    counted: tuple[Packed, ...]
    notes: tuple[Packed, ...]
    amount_minor: int
    certain: bool


def _coins(question: CoinsQuestion) -> CoinsAnswer:
    weighed: list[Weighed] = []
    counted: list[Packed] = []
    notes: list[Packed] = []
    faults: list[Fault] = []
    for index, coins in enumerate(question.coins):
        try:
            if coins.weight_g is not None and coins.number is None:
                weighed.append(
                    by_weight(
                        coins.minor,
                        coins.weight_g,
                        scale_g=question.scale_g,
                        currency=question.currency,
                    )
                )
            elif coins.number is not None and coins.weight_g is None:
                counted.append(rolls(coins.minor, coins.number, currency=question.currency))
            else:
                faults.append(
                    Fault(f"/coins/{index}", "Give weight_g or number.", "weight_or_number")
                )
        except BadMeasure as error:
            faults.append(_fault(f"/coins/{index}", error))
    for index, one in enumerate(question.notes):
        try:
            notes.append(straps(one.minor, one.number, currency=question.currency))
        except BadMeasure as error:
            faults.append(_fault(f"/notes/{index}", error))
    mixed = None
    if question.mixed_weight_g is not None:
        try:
            mixed = mixed_by_weight(question.mixed_weight_g, scale_g=question.scale_g)
        except BadMeasure as error:
            place = "/scale_g" if error.field == "scale_g" else "/mixed_weight_g"
            faults.append(Fault(place, error.message, "bad_measure"))
    if faults:
        raise BadQuestion(tuple(faults))
    parts = (*weighed, *counted, *notes, *((mixed,) if mixed else ()))
    sure = all(one.sureness == "certain" for one in (*weighed, *((mixed,) if mixed else ())))
    return CoinsAnswer(
        tuple(weighed),
        mixed,
        tuple(counted),
        tuple(notes),
        sum(one.amount_minor for one in parts),
        sure,
    )


def _fault(place: str, error: BadMeasure) -> Fault:
    if error.field in ("scale_g", "currency"):
        return Fault(f"/{error.field}", error.message, "bad_measure")
    return Fault(f"{place}/{error.field}", error.message, "bad_measure")


COINS = Computation(
    "coins",
    "What a bag holds, by the weight of its coins and by number.",
    CoinsQuestion,
    CoinsAnswer,
    _coins,
)
