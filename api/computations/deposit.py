"""`compute deposit`: what a container's deposit is, by state, day, size, material and drink."""

from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal

from pydantic.dataclasses import dataclass as checked

from fleet.compute.units import require_count
from service.compute.deposits import Deposit, Drink, deposit

from .asking import ASKED_STRICTLY, Computation

NO_ADVICE = (
    "This is no tax advice; the rule's source and how far it was checked stand beside each figure."
)


@checked(frozen=True, config=ASKED_STRICTLY)
class DepositQuestion:
    """One container sold in a state on a day, and how many of them. Volume in mL."""

    state: str
    on: date
    volume_ml: Decimal
    material: str
    drink: Drink = field(default_factory=Drink)
    containers: int = 1

    def __post_init__(self) -> None:
        require_count("question.containers", self.containers, most=1_000_000)


@dataclass(frozen=True)
class DepositAnswer:
    """The deposit on one container; `total` and `total_with_fee` are those of all, in dollars."""

    deposit: Deposit
    containers: int
    total: Decimal | None
    total_with_fee: Decimal | None
    note: str = NO_ADVICE


def _deposit(question: DepositQuestion) -> DepositAnswer:
    found = deposit(
        question.state,
        question.on,
        volume_ml=question.volume_ml,
        material=question.material,
        drink=question.drink,
    )
    if found.amount is None:
        return DepositAnswer(found, question.containers, None, None)
    total = found.amount * question.containers
    return DepositAnswer(found, question.containers, total, total + found.fee * question.containers)


DEPOSIT = Computation(
    "deposit",
    "What a container's deposit is, by state, day, size, material and drink.",
    DepositQuestion,
    DepositAnswer,
    _deposit,
)
