"""Counters as a board keeps them: one that is never reset and one since the last reset."""

from __future__ import annotations


class Tally:
    __slots__ = ("ever", "since")

    def __init__(self, ever: int = 0) -> None:
        self.ever = ever
        self.since = 0

    def add(self, amount: int) -> None:
        self.ever += amount
        self.since += amount

    def reset(self) -> None:
        self.since = 0


class Sold:
    """How many, and for how much in cents."""

    __slots__ = ("count", "value")

    def __init__(self, count: int = 0, value: int = 0) -> None:
        self.count = Tally(count)
        self.value = Tally(value)

    def add(self, value: int, count: int = 1) -> None:
        self.count.add(count)
        self.value.add(value)

    def reset(self) -> None:
        self.count.reset()
        self.value.reset()


def shown(value: int, digits: int) -> int:
    """What a counter of so many digits shows: after all nines it goes on from nought."""
    modulus: int = 10**digits
    return value % modulus
