"""Which of many suspicions to raise so that few of them are false.

Benjamini & Hochberg, Controlling the false discovery rate: a practical and powerful approach to
multiple testing, J. R. Statist. Soc. B 57 (1995), 289-300.
"""

import numpy as np
import numpy.typing as npt

from .arrays import Flags, Floats, floats, refuse_unless, refuse_where


def benjamini_hochberg(p_values: npt.ArrayLike, q: float = 0.05) -> Flags:
    """[n] what to raise so that the expected share of false ones is at most `q`.

    For independent p-values, or ones that go up and down together. Raises BadEvidence.
    """
    refuse_unless("q", 0 < q < 1, "must lie between 0 and 1")
    return q_values(p_values) <= q


def q_values(p_values: npt.ArrayLike) -> Floats:
    """[n] the least `q` at which each would be raised (the adjusted p-value). Raises BadEvidence.

    Only p-values below 1 are sorted: a column that sold today has no say in the others' order.
    """
    given = floats("p_values", p_values)
    refuse_where("p_values", (given < 0) | (given > 1), "must lie between 0 and 1")
    found = np.ones(len(given))
    low = np.flatnonzero(given < 1)
    order = low[np.argsort(given[low], kind="stable")]
    scaled = given[order] * len(given) / np.arange(1, len(order) + 1)
    found[order] = np.minimum(np.minimum.accumulate(scaled[::-1])[::-1], 1)
    return found


def bonferroni(p_values: npt.ArrayLike, level: float = 0.05) -> Flags:
    """[n] what to raise so that the chance of any false one is at most `level`."""
    given = floats("p_values", p_values)
    return given <= level / max(1, len(given))
