"""A sign: a single fact that speaks for causes, with how often it is seen where one is true."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from .cause_codes import CauseCode
from .facts import ColumnFacts


@dataclass(frozen=True, slots=True)
class Sign:
    """One yes-or-no question to the facts.

    asks    true, false, or None where the facts do not say
    said    the words where it is true
    usual   how often it is true under causes that it has nothing to do with
    under   how often it is true where a cause is the one
    denied  the words where it is false and that speaks against a cause; empty: not told
    group   signs of one group say nearly the same: of those that are true only the first counts
    """

    code: str
    asks: Callable[[ColumnFacts], bool | None]
    said: str | Callable[[ColumnFacts], str]
    usual: float
    under: Mapping[CauseCode, float]
    denied: str = ""
    group: str = ""

    def bears_on(self, cause: CauseCode) -> bool:
        """Whether it is told beside this cause: what speaks for one is no word against another."""
        return cause in self.under

    def words(self, facts: ColumnFacts, true: bool) -> str:
        """What this answer says; empty where it is not told."""
        if not true:
            return self.denied
        return self.said if isinstance(self.said, str) else self.said(facts)


def known(value: float | None, test: Callable[[float], bool]) -> bool | None:
    return None if value is None else test(value)
