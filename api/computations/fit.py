"""`compute fit`: does a package go in a position, and how is the column set for it?"""

from collections.abc import Mapping
from typing import Annotated, Any

from pydantic import Discriminator, Tag
from pydantic.dataclasses import dataclass as checked

from fleet.compute.charts import ChartEntry
from fleet.compute.fit import fit
from fleet.compute.packages import Package
from fleet.compute.positions import Board, SpiralPosition, StackPosition
from fleet.compute.results import Fit
from fleet.compute.rules import DEFAULT_RULES, Rules
from fleet.compute.units import Units

from .asking import ASKED_STRICTLY, Computation

STACK, SPIRAL = "a stacked column", "a spiral"


def _style(position: Any) -> str:
    given = position if isinstance(position, Mapping) else vars(type(position))
    return SPIRAL if "turns" in given or "pitch_mm" in given else STACK


@checked(frozen=True, config=ASKED_STRICTLY)
class FitQuestion:
    """Does this package go in this position, and how is the column set for it? Lengths in mm."""

    position: Annotated[
        Annotated[StackPosition, Tag(STACK)] | Annotated[SpiralPosition, Tag(SPIRAL)],
        Discriminator(_style),
    ]
    package: Package
    board: Board = Board()
    rules: Rules = DEFAULT_RULES
    charts: tuple[ChartEntry, ...] = ()
    units: Units = Units.MILLIMETRES


def _fit(question: FitQuestion) -> Fit:
    return fit(
        question.position,
        question.package,
        question.board,
        question.rules,
        charts=question.charts,
        units=question.units,
    )


FIT = Computation(
    "fit",
    "Whether a package goes in a position, how the column is set for it, and why.",
    FitQuestion,
    Fit,
    _fit,
    choices=frozenset((STACK, SPIRAL)),
)
