"""`manage.py compute demand`: sales in, distributions out, with nothing else around."""

from __future__ import annotations

import json
from datetime import datetime, timedelta
from typing import Any

import pytest

from tests.api.test_compute import compute

MONDAY = datetime.fromisoformat("2026-01-05T09:30:00")
QUESTION: dict[str, Any] = {
    "columns": [
        {"column": "left", "machine": "hall", "product": "water"},
        {"column": "right", "machine": "hall", "product": "juice"},
    ],
    "intervals": [
        {
            "column": "left",
            "starts": (MONDAY + timedelta(weeks=week)).isoformat(),
            "ends": (MONDAY + timedelta(weeks=week + 1)).isoformat(),
            "units": units,
            "ran_dry": units == 6,
        }
        for week, units in enumerate([3, 4, 2, 5, 4, 6, 6, 6])
    ],
    "as_of": "2026-03-03",
    "days": 3,
    "calendar": [{"day": "2026-03-04"}],
}


def test_sales_are_answered_with_distributions() -> None:
    done = compute("demand", question=QUESTION)
    assert done.returncode == 0, done.stderr
    left, right = json.loads(done.stdout)["columns"]
    assert sum(left["chances"]) == pytest.approx(1)
    # More than the 4.5 a week that were sold, since three weeks ran dry.
    assert 4.5 < left["rate_a_day"] * 7 < 6
    assert not left["from_pool"]
    assert right["from_pool"]
    means = [day["mean_units"] for day in left["by_day"]]
    # The second day is closed.
    assert means[1] == pytest.approx(means[0])
    assert 0 < means[0] < means[2]
    assert [day["day"] for day in left["by_day"]] == ["2026-03-03", "2026-03-04", "2026-03-05"]


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"columns": []}, "/columns"),
        ({"days": 0}, "/days"),
        ({"calendar": [{"day": "2026-03-04", "machine": "attic"}]}, "/calendar/0/machine"),
        ({"settings": {"half_lives_days": []}}, "/settings/half_lives_days"),
        ({"intervals": [QUESTION["intervals"][0]] * 2}, "/intervals/1/starts"),
        ({"intervals": [{**QUESTION["intervals"][0], "column": "top"}]}, "/intervals/0/column"),
        ({"intervals": [{**QUESTION["intervals"][0], "units": -1}]}, "/intervals/0/units"),
    ],
)
def test_a_fault_is_named_by_its_place(change: dict[str, Any], pointer: str) -> None:
    done = compute("demand", question={**QUESTION, **change})
    assert done.returncode == 2
    assert [one["pointer"] for one in json.loads(done.stderr)["faults"]] == [pointer]
