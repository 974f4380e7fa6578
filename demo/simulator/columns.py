"""One column as it drops products, with the depth program the board really has for it."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from datetime import date
from random import Random

from demo.business.shapes import Kind, SetUp
from demo.simulator.goods import Lines, Lot
from fleet.compute.positions import DepthProgram
from fleet.compute.results import Risk
from fleet.compute.rules import DEFAULT_RULES
from fleet.compute.timing import risk_of

# Where the second product can follow the first, it mostly does.
_SECOND_FOLLOWS_SHARE = 0.9


class Column:
    """Stock and set-up of one column. What was put in first drops first, whatever its date.

    `programmed` overrides the program that the books believe in; None where they are right.
    """

    def __init__(self, label: str, set_up: SetUp) -> None:
        self.label = label
        self.set_up = set_up
        self.programmed: str | None = None
        self.stock = 0
        self.taken_for_empty = False
        self.jammed = False
        self._layers: deque[tuple[Lot, int]] = deque()
        self._has_turned = False

    @property
    def offers(self) -> bool:
        return self.stock > 0 and not self.taken_for_empty

    def lines(self) -> Lines:
        """What lies in it, the next to drop first."""
        return tuple(self._layers)

    def put(self, lines: Iterable[tuple[Lot, int]]) -> None:
        for lot, count in lines:
            self._layers.append((lot, count))
            self.stock += count

    def put_back(self, as_it_was: Lines) -> int:
        """Lay in again what has dropped since; how many those were."""
        dropped = sum(count for _, count in as_it_was) - self.stock
        self._layers = deque(as_it_was)
        self.stock += dropped
        return dropped

    def take_all(self) -> Lines:
        taken = self.lines()
        self._layers.clear()
        self.stock = 0
        return taken

    def take_out_of_date(self, by: date) -> Lines:
        """Take out what will be past its date on a day; the rest is laid in as it was."""
        taken = tuple(line for line in self._layers if line[0].best_before < by)
        if taken:
            self._layers = deque(line for line in self._layers if line[0].best_before >= by)
            self.stock -= sum(count for _, count in taken)
        return taken

    def is_stuck(self, kind: Kind) -> bool:
        """Whether the next product would come later than the board waits, or not at all."""
        if self.jammed:
            return True
        return self._has_turned and self._risk(kind) is Risk.FALSE_SOLD_OUT

    def drop(self, kind: Kind, random: Random) -> int:
        """Run the motor for one vend; how many products fell. Raises ValueError when empty."""
        if self.stock == 0:
            raise ValueError(f"column {self.label} is empty and must not be asked to drop")
        self._has_turned = True
        follows = self._risk(kind) is Risk.TWO_FOR_ONE
        two = follows and random.random() < _SECOND_FOLLOWS_SHARE
        fell = min(self.stock, 2 if two else 1)
        for _ in range(fell):
            lot, count = self._layers.popleft()
            if count > 1:
                self._layers.appendleft((lot, count - 1))
        self.stock -= fell
        return fell

    def serviced(self) -> None:
        """The driver loads it and sets the motor to its start."""
        self.taken_for_empty = False
        self._has_turned = False

    def _risk(self, kind: Kind) -> Risk:
        name = self.programmed or self.set_up.program
        if name is None or self.set_up.deep is None:
            return Risk.NONE
        program: DepthProgram = next(one for one in kind.board.programs if one.name == name)
        return risk_of(program, self.set_up.deep, kind.board, DEFAULT_RULES)
