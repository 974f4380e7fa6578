"""Which weekdays a machine sells on: the fleet's, until it has sold enough to have its own.

The fleet's weekdays count as so many sales of the machine. How many is learned from how far
machines stray from the fleet: offices and stations together make machines speak for themselves
sooner than offices alone.
"""

from typing import Final

import numpy as np

from .arrays import Floats, Ints, sums
from .history import DAYS_A_WEEK, History
from .stretches import Weekdays

NEWTON_STEPS: Final = 4
LEAST_FACTOR: Final = 0.02
#: What is assumed of how far machines differ counts as this many machines that say so.
SPREAD_WORTH: Final = 3.0
LEAST_MEAN: Final = 1e-9


def learn(history: History, told: Weekdays, worth: float) -> tuple[Floats, Floats]:
    """[7] of the fleet and [machines, 7], 1 on average.

    `worth` is how many sales of each machine the fleet's weekdays are first taken to be worth.
    """
    is_weekday = np.eye(DAYS_A_WEEK)[history.weekday]
    # The level of a machine against its columns' rates is no weekday's: taken out first.
    asked = told.sold.sum(axis=1) + sums(told.machine, told.total, history.machines)
    told = _scaled(told, asked, np.ones(DAYS_A_WEEK), history)
    sold, expected = told.sold @ is_weekday, told.expected @ is_weekday
    even = np.full((1, DAYS_A_WEEK), worth / DAYS_A_WEEK)
    fleet = _regressed(
        sold.sum(axis=0)[None, :] + even,
        expected.sum(axis=0)[None, :] + even,
        np.zeros_like(told.machine),
        told.total,
        told.of_stretch,
        np.ones((1, DAYS_A_WEEK)),
    )[0]
    told = _scaled(told, asked, fleet, history)
    expected = told.expected @ is_weekday
    share = _shares(history.usual @ is_weekday)
    kept = _worth(history, told, fleet, worth)[:, None] * share
    weekday = _regressed(
        sold + kept * fleet,
        expected + kept,
        told.machine,
        told.total,
        told.of_stretch,
        np.tile(fleet, (history.machines, 1)),
    )
    # A weekday on which a machine is always closed tells nothing; the fleet's stands for it.
    return fleet, _to_one(np.where(share > 0, weekday, fleet))


def _scaled(told: Weekdays, asked: Floats, factor: Floats, history: History) -> Weekdays:
    """With expectations that come to what each machine was asked for, at the factors [7]."""
    thought = told.expected @ factor[history.weekday] + sums(
        told.machine, factor @ told.of_stretch, history.machines
    )
    known = (thought > 0) & (asked > 0)
    level = np.divide(asked, thought, out=np.ones_like(asked), where=known)
    return Weekdays(
        told.sold,
        told.expected * level[:, None],
        told.machine,
        told.total,
        told.of_stretch * level[told.machine],
    )


def _worth(history: History, told: Weekdays, fleet: Floats, worth: float) -> Floats:
    """[machines] how many sales of each the fleet's weekdays are worth.

    By the moments of the scores (the derivative, by the logarithm of each factor, of the
    likelihood where all have the fleet's): the square of a machine's is its scatter x information
    if machines are alike, and grows with the square of the information as far as they are not.
    Scatter is that of the machine's own days and stretches. What is assumed, at a variance of
    7 / worth, counts as a few machines.
    """
    machines, is_weekday = history.machines, np.eye(DAYS_A_WEEK)[history.weekday]
    mean = told.expected * fleet[history.weekday]
    of_stretch = told.of_stretch * fleet[:, None]
    whole = np.maximum(of_stretch.sum(axis=0), LEAST_MEAN)
    strayed, off = told.sold - mean, told.total - whole
    counted = mean > LEAST_MEAN
    square = np.divide(strayed**2, mean, out=np.zeros_like(mean), where=counted).sum(axis=1)
    square += sums(told.machine, off**2 / whole, machines)
    counts = counted.sum(axis=1) + np.bincount(told.machine, minlength=machines)
    scatter = (square + 1) / (counts + 1)
    score = (strayed * counted) @ is_weekday
    for one in range(DAYS_A_WEEK):
        score[:, one] += sums(told.machine, of_stretch[one] * off / whole, machines)
    told_apart = _joint(told.machine, of_stretch / whole, of_stretch, machines)
    days = np.arange(DAYS_A_WEEK)
    told_apart[:, days, days] += mean @ is_weekday
    # The level of the machine is not known beforehand: its part of the information goes.
    by_level = told_apart.sum(axis=2)
    total = np.maximum(by_level.sum(axis=1), LEAST_MEAN)
    told_apart -= by_level[:, :, None] * by_level[:, None, :] / total[:, None, None]
    information = np.trace(told_apart, axis1=1, axis2=2)
    size = (told_apart**2).sum(axis=(1, 2))
    assumed = DAYS_A_WEEK / worth
    free = DAYS_A_WEEK - 1
    weight = 1 / (scatter + assumed * information / free) ** 2
    apart = weight @ ((score**2).sum(axis=1) - scatter * information)
    prior = SPREAD_WORTH * free / assumed**2
    variance = (max(float(apart), 0.0) + prior * assumed) / (float(weight @ size) + prior)
    found: Floats = DAYS_A_WEEK / variance * np.maximum(scatter, 1)
    return found


def _regressed(
    sold: Floats,
    expected: Floats,
    group: Ints,
    total: Floats,
    of_stretch: Floats,
    start: Floats,
) -> Floats:
    """[groups, 7] factors f, 1 on average, most likely to give Poisson counts `sold` of the mean
    f x `expected` by weekday, and `total` of the mean f . of_stretch for each stretch.

    By Newton's method (Fisher scoring) for all groups at once. `sold` and `expected` hold a
    prior's few sales on every weekday, so that what no stretch tells apart stays as it was.
    """
    found = start
    square = np.arange(DAYS_A_WEEK)
    for _ in range(NEWTON_STEPS):
        mean = np.maximum((of_stretch * found.T[:, group]).sum(axis=0), LEAST_MEAN)
        weighed = of_stretch / mean
        matrix = _joint(group, weighed, of_stretch, len(start))
        matrix[:, square, square] += np.maximum(expected, LEAST_MEAN) / found
        right = sold / found
        for one in square:
            right[:, one] += sums(group, weighed[one] * total, len(start))
        solved = np.linalg.solve(matrix, right[:, :, None])[:, :, 0]
        # A weekday may lose at most half in a step, and none may come to nothing.
        found = np.maximum(np.maximum(solved, found / 2), LEAST_FACTOR)
    return _to_one(found)


def _joint(group: Ints, above: Floats, below: Floats, groups: int) -> Floats:
    """[groups, 7, 7] sums of the products of [7, stretches] that are symmetric."""
    found = np.zeros((groups, DAYS_A_WEEK, DAYS_A_WEEK))
    for one in range(DAYS_A_WEEK):
        for other in range(one, DAYS_A_WEEK):
            joint = sums(group, above[one] * below[other], groups)
            found[:, one, other] = found[:, other, one] = joint
    return found


def _shares(open_days: Floats) -> Floats:
    total = open_days.sum(axis=1, keepdims=True)
    even = np.full_like(open_days, 1 / DAYS_A_WEEK)
    found: Floats = np.divide(open_days, total, out=even, where=total > 0)
    return found


def _to_one(factors: Floats) -> Floats:
    """Scaled so that a week's factors are 1 on average."""
    scaled: Floats = factors / factors.mean(axis=-1, keepdims=True)
    return scaled
