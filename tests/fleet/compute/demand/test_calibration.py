"""How often the truth falls within the bands, and what is known to a model already."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from fleet.compute.demand import BadSales, Calibration, calibration, fit, rolling

from .town import Town, live

SMALL = Town(machines=20, columns_each=8, seed=4)


def test_the_truth_falls_within_the_bands_as_often_as_expected() -> None:
    of = live(SMALL)
    origins = [of.as_of - 10 * step for step in (1, 2, 3)]
    found = rolling(of.totals, of.calendar, origins, 10)
    assert found.intervals > 600
    assert found.ran_dry > 50
    for level in (0.5, 0.8, 0.95):
        within, expected = found.within(level), found.expected(level)
        assert within is not None
        assert expected is not None
        assert level - 0.02 <= expected
        assert within == pytest.approx(expected, abs=0.05)
    assert found.bias is not None
    assert abs(found.bias) < 0.1
    assert Calibration.from_json(json.loads(json.dumps(found.as_json()))) == found
    both = Calibration.of([found, found])
    assert both.crps == pytest.approx(found.crps)
    assert both.intervals == 2 * found.intervals


def test_a_model_that_is_too_sure_is_found_out() -> None:
    of = live(SMALL)
    models = fit(of.totals, of.calendar, of.as_of - 20).columns
    later = of.totals.where(of.totals.ends > of.as_of - 20)
    honest = calibration(models, later, of.calendar)
    sure = replace(models, shape=models.shape * 50, exposure_days=models.exposure_days * 50 / 1.3)
    found = calibration(sure, later, of.calendar)
    assert found.within(0.8) < found.expected(0.8) - 0.03
    assert found.crps > honest.crps


def test_what_the_model_knew_is_no_test_of_it() -> None:
    of = live(SMALL)
    models = fit(of.totals, of.calendar, of.as_of).columns
    with pytest.raises(BadSales, match="already knew"):
        calibration(models, of.totals, of.calendar)
    nothing = calibration(models, of.totals.where(np.zeros(len(of.totals), bool)), of.calendar)
    assert nothing.intervals == 0
    assert nothing.crps is None
