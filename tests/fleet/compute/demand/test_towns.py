"""The demand model in invented towns, beside one who knows all but luck.

Scores are CRPS of what is asked for in the next 3 to 10 days, over many draws of it, as a multiple
of the score of the town's own distributions. "Tight" is the fifth of columns with the least room.
The plain town has weekdays, a season, scatter and sold-out columns; the hard one also neighbours
who take what the sold-out did not sell, prices that rose, fairs and closed days; in the shifting
one a third of the sites gain or lose many people for good.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from fleet.compute.demand import IntervalSales, crps, exposures, fit, mean_and_size, predictive
from fleet.compute.demand.predict import chances
from tests.checks.lumpy import sba

from .town import Past, Town, live

SEEDS = (11, 12, 13)
PLAIN = Town()
HARD = Town(substitution=0.5, price_rises=0.3, holidays=True)
SHIFTING = Town(level_shifts=0.3)
NAMES = {PLAIN: "plain", HARD: "hard", SHIFTING: "shifting"}
UNITS, SCORED = 250, 20


@cache
def past(town: Town, seed: int) -> Past:
    return live(replace(town, seed=seed))


def score(pmf: np.ndarray, of: Past) -> float:
    return float(np.mean([crps(pmf, draw).mean() for draw in of.draws[:SCORED]]))


def oracle(of: Past) -> float:
    drawn = of.draws[SCORED:]
    pmf = np.stack([np.bincount(one, minlength=UNITS)[:UNITS] / len(drawn) for one in drawn.T])
    return score(pmf, of)


def foretell(town: Town, kind: str, *, blind: bool = False) -> tuple[float, float, float]:
    """Score over the oracle's, bias, and bias of the tight columns: means of several towns."""
    found = []
    for seed in SEEDS:
        of = past(town, seed)
        sales: IntervalSales = getattr(of, kind)
        if blind:
            sales = replace(sales, ran_dry=np.zeros(len(sales), bool))
        models = fit(sales, of.calendar, of.as_of).columns
        ahead = exposures(models, of.calendar, of.as_of, 10)
        exposure = (ahead * (np.arange(10) < of.horizon[:, None])).sum(axis=1)
        mean, _ = mean_and_size(models, exposure)
        found.append(
            (
                score(predictive(models, exposure, UNITS), of) / oracle(of),
                mean.sum() / of.mean.sum() - 1,
                mean[of.tight].sum() / of.mean[of.tight].sum() - 1,
            )
        )
    ratio, bias, tight = np.mean(found, axis=0)
    print(
        f"\n{NAMES[town]}, {kind}{', blind' if blind else ''}: "
        f"{ratio:.3f} of the oracle's score, bias {bias:+.1%}, tight {tight:+.1%}"
    )
    return float(ratio), float(bias), float(tight)


@pytest.mark.parametrize(
    ("kind", "most", "most_bias"), [("daily", 1.04, 0.02), ("totals", 1.05, 0.02)]
)
def test_a_plain_town(kind: str, most: float, most_bias: float) -> None:
    ratio, bias, tight = foretell(PLAIN, kind)
    assert ratio <= most
    assert abs(bias) <= 0.03
    assert abs(tight) <= most_bias


def test_marks_of_having_run_dry_are_worth_their_keep() -> None:
    ratio, _, tight = foretell(PLAIN, "totals", blind=True)
    assert ratio > 1.065
    assert tight < -0.12


@pytest.mark.parametrize(("kind", "most"), [("daily", 1.065), ("totals", 1.065)])
def test_a_hard_town(kind: str, most: float) -> None:
    """What neighbours took instead cannot be told from what they were asked for."""
    ratio, _, tight = foretell(HARD, kind)
    assert ratio <= most
    assert abs(tight) <= 0.08


@pytest.mark.parametrize(("kind", "most"), [("daily", 1.05), ("totals", 1.08)])
def test_a_town_of_sites_that_gain_or_lose_people(kind: str, most: float) -> None:
    ratio, _, _ = foretell(SHIFTING, kind)
    assert ratio <= most


def test_lumpy_forecasts_are_beaten() -> None:
    """Syntetos & Boylan's forecast of the daily sales, taken as Poisson."""
    of = past(PLAIN, SEEDS[0])
    sold = of.daily.in_order().units.reshape(of.daily.columns, -1)
    mean = np.maximum(sba(sold) * of.horizon, 1e-6)
    theirs = score(chances(mean, np.full(len(mean), 1e6), UNITS), of) / oracle(of)
    ours, _, _ = foretell(PLAIN, "daily")
    assert theirs > ours + 0.1
