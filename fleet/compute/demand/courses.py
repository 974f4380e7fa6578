"""The course of each machine: how its trade has moved against the fleet's season.

A site that gains or loses people moves all columns of its machine at once, and all of them
together show it weeks before any one does. Either the machine's level never moves, or it leaps
now and then (a mixture, weighted for each machine by how likely each makes its weeks, on top of
how many of the fleet are seen to leap). Where it then was and is comes from a hidden Markov chain
(Rabiner 1989) over a grid of levels: a step stays, or leaps anywhere.
"""

from dataclasses import dataclass
from typing import Final, Self

import numpy as np

from .arrays import Floats
from .history import Grid, History
from .mixing import shares

#: Logarithms of levels: from a seventh to seven times.
LEVELS: Final = np.linspace(-2, 2, 33, dtype=np.float32)
#: Where a leap, or the first week, may land: the standard deviation of the logarithm.
LANDING_SPREAD: Final = 0.7
LANDING: Final = (
    np.exp(-0.5 * (LEVELS / LANDING_SPREAD) ** 2)
    / np.exp(-0.5 * (LEVELS / LANDING_SPREAD) ** 2).sum()
).astype(np.float32)
ONES: Final = np.ones_like(LEVELS)
#: Parts of machines taken never to leap and to leap, until the fleet tells.
ASSUMED: Final = (0.95, 0.05)
LEAST: Final = np.float32(1e-30)
#: A week's scatter as usual counts as so many columns.
SCATTER_WORTH: Final = 3.0
#: Machines followed at a time: their chances then stay in the cache.
AT_ONCE: Final = 512


@dataclass(frozen=True, eq=False)
class Courses:
    """by_week [weeks, machines], 1 now; variance [machines] of the logarithm of what is now."""

    by_week: Floats
    variance: Floats

    @classmethod
    def none(cls, weeks: int, machines: int) -> Self:
        """No machine has moved."""
        return cls(np.ones((weeks, machines)), np.zeros(machines))


def learn(sold: Floats, expected: Floats, scatter: Floats, leap_a_week: float) -> Courses:
    """From [weeks, machines] units sold, and expected at a level that never moved.

    `scatter` [weeks, machines] is the variance over the mean of a week's units; `leap_a_week` the
    chance in a week that a machine leaps, if it is one that does.
    """
    # A level that never moves then lies on the grid, not between two that it would leap among.
    whole = sold.sum(axis=0), expected.sum(axis=0)
    known = (whole[0] > 0) & (whole[1] > 0)
    expected = expected * np.divide(*whole, out=np.ones_like(whole[0]), where=known)
    score, spread = (np.empty((2, sold.shape[1]), np.float32) for _ in range(2))
    level = np.empty(sold.shape, np.float32)
    never = np.empty(sold.shape[1], np.float32)
    for first in range(0, sold.shape[1], AT_ONCE):
        part = slice(first, first + AT_ONCE)
        logs = _told(sold[:, part], expected[:, part], scatter[:, part])
        score[0, part], never[part], spread[0, part] = _never(logs)
        score[1, part], level[:, part], spread[1, part] = _leaping(logs, np.float32(leap_a_week))
    weight = shares(score, np.array(ASSUMED))
    mean = weight[0] * never + weight[1] * level
    apart = weight[0] * weight[1] * (never - level[-1]) ** 2
    # Of a level that never moves, how little is known is in the levels of its columns already.
    variance = weight[1] * (spread[1] - spread[0]) + apart
    return Courses(np.exp(mean - mean[-1]), np.maximum(variance, 0))


def scatter_of(history: History, sold: Floats, expected: Floats, dispersion: Floats) -> Floats:
    """[weeks, machines] variance over mean of a machine's weeks as evidence of its level.

    `sold` and `expected` are [weeks, columns]. When one column sells twice as much and the others
    as ever, the machine has not moved: a week in which its columns do not agree tells less. By the
    chi-square of the week's units against the columns' usual shares of them.
    """
    square = np.divide(sold**2, expected, out=np.zeros_like(sold), where=expected > 0)
    grids = (sold, expected, square, (expected > 0), expected * dispersion)
    asked, thought, squares, count, counted = (
        history.by_machine(grid.T.astype(np.float32)).T for grid in grids
    )
    plain = np.divide(counted, thought, out=np.ones_like(thought), where=thought > 0)
    known = asked > 0
    level = np.divide(thought, asked, out=np.zeros_like(asked), where=known)
    apart = np.maximum(squares * level - asked, 0)
    agreed = SCATTER_WORTH + np.maximum(count - 1, 0)
    return np.maximum(plain, (SCATTER_WORTH * plain + apart) / agreed)


def _told(sold: Floats, expected: Floats, scatter: Floats) -> Grid:
    """[weeks, machines, levels] log likelihood of the week's units, 0 at the likeliest level."""
    y, x = (sold / scatter).astype(np.float32), (expected / scatter).astype(np.float32)
    logs: Grid = y[:, :, None] * LEVELS
    logs -= x[:, :, None] * np.exp(LEVELS)
    logs -= logs.max(axis=2, keepdims=True)
    return logs


def _never(logs: Grid) -> tuple[Grid, Grid, Grid]:
    """[machines] log likelihood of one level for all weeks, its logarithm's mean and variance."""
    whole = logs.sum(axis=0)
    most = whole.max(axis=1)
    chance = LANDING * np.exp(whole - most[:, None])
    total = chance.sum(axis=1)
    mean, variance = _moments(chance / total[:, None])
    return most + np.log(total), mean, variance


def _leaping(logs: Grid, leap: np.float32) -> tuple[Grid, Grid, Grid]:
    """Forward and backward through the weeks: [machines] log likelihood, [weeks, machines] mean of
    the level's logarithm, and [machines] its variance in the last week.
    """
    told = np.exp(logs)
    forward = np.empty_like(told)
    score = np.zeros(told.shape[1], np.float32)
    now: Grid = LANDING
    for week, chance in enumerate(told):
        if week:
            now = (1 - leap) * now + leap * LANDING
        now = np.multiply(now, chance, out=forward[week])
        total = np.maximum(now @ ONES, LEAST)
        now /= total[:, None]
        score += np.log(total)
    mean = np.empty(told.shape[:2], np.float32)
    mean[-1], variance = _moments(now)
    later = np.ones_like(now)
    for week in range(len(told) - 2, -1, -1):
        later *= told[week + 1]
        landed = later @ LANDING
        later *= 1 - leap
        later += leap * landed[:, None]
        later /= np.maximum(landed, LEAST)[:, None]
        both = forward[week] * later
        mean[week] = (both @ LEVELS) / np.maximum(both @ ONES, LEAST)
    return score, mean, variance


def _moments(chance: Grid) -> tuple[Grid, Grid]:
    """[machines] mean and variance of the level's logarithm, from chances [machines, levels]."""
    mean = chance @ LEVELS
    variance: Grid = np.maximum(chance @ LEVELS**2 - mean**2, 0)
    return mean, variance
