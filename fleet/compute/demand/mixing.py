"""Which of several ways fits each of many, and how common each way is among them."""

from typing import Final

import numpy as np

from .arrays import Floats
from .history import Grid

#: Mixtures creep to what is common: it takes so many steps, of so many at most.
STEPS: Final = 200
MOST: Final = 8192
#: So many of no particular way stand beside the others when what is common is found.
WORTH: Final = 3.0


def shares(score: Grid, assumed: Floats | None = None) -> Floats:
    """[ways, many] by log score [ways, many], on top of how common each way is.

    A few do not tell what is common: as many again are taken to be as `assumed` [ways], or as
    many of every way.
    """
    ways, many = score.shape
    first = np.full(ways, 1 / ways) if assumed is None else assumed
    worth = (WORTH * first).astype(np.float32)
    likely = np.exp(score - score.max(axis=0))
    some = np.ascontiguousarray(likely[:, :: -(-many // MOST)])
    common = np.full(ways, 1 / ways, np.float32)
    for _ in range(STEPS):
        told = common * (some @ (1 / (common @ some)))
        common = (told + worth) / np.float32(some.shape[1] + WORTH)
    weight = likely.astype(np.float64) * common[:, None]
    found: Floats = weight / weight.sum(axis=0)
    return found
