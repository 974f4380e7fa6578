"""`manage.py compute runs`: a day planned with nothing else around."""

import json
from typing import Any

import pytest

from api.computations import COMPUTATIONS, BadQuestion
from tests.api.test_compute import compute

RUNS = COMPUTATIONS["runs"]

STOPS = [
    {"name": "mill", "place": 1, "service_s": 1200, "prize": 4000, "units": 31.5},
    {
        "name": "school",
        "place": 2,
        "service_s": 1500,
        "must_go": "product goes out of date",
        "windows": [{"opens_s": 28800, "closes_s": 43200}],
    },
    {"name": "shed", "place": 2, "service_s": 600, "prize": 10, "skills": ["cold"]},
]
VAN = {
    "name": "van",
    "start_depot": "yard",
    "end_depot": "yard",
    "starts_s": 21600,
    "ends_s": 61200,
    "shift_s": 28800,
    "cost_per_km": 45,
    "cost_per_hour": 2400,
}
PLACES = [
    {"latitude": 50.0, "longitude": 8.0},
    {"latitude": 50.05, "longitude": 8.1},
    {"latitude": 50.1, "longitude": 8.0},
]
QUESTION = {
    "stops": STOPS,
    "vehicles": [VAN],
    "depots": [{"name": "yard", "place": 0, "loading_s": 900}],
    "places": PLACES,
    "iterations": 100,
}


def test_a_day_is_planned_with_reasons_and_judged() -> None:
    done = compute("runs", question=QUESTION)
    assert done.returncode == 0, done.stderr
    answer = json.loads(done.stdout)
    (run,) = answer["plan"]["runs"]
    assert [stop["stop"] for stop in run["stops"]] == ["school", "mill"]
    assert run["stops"][0]["begins_s"] == 28800
    assert answer["plan"]["out"] == ["shed"]
    because = {reason["stop"]: reason["because"] for reason in answer["reasons"]}
    assert because == {"mill": "worth_it", "school": "must_go", "shed": "impossible"}
    mill = next(reason for reason in answer["reasons"] if reason["stop"] == "mill")
    assert (mill["prize"], mill["units"]) == (4000, 31.5)
    assert answer["score"]["faults"] == []
    assert answer["score"]["gain"] == 4000 - answer["score"]["cost"]
    assert answer["travel"] == "great circle x 1.3"


def test_a_matrix_is_taken_as_it_is() -> None:
    rows = [[0, 600, 900], [600, 0, 600], [900, 600, 0]]
    question = {**QUESTION, "places": [], "matrix": {"seconds": rows, "metres": rows}}
    answer = RUNS.plain(RUNS.ask(json.dumps(question).encode()))
    assert answer["travel"] == "given"
    assert answer["score"]["drive_m"] == 900 + 600 + 600


@pytest.mark.parametrize(
    ("change", "pointer", "said"),
    [
        ({"places": []}, "/places", "either a matrix or places"),
        ({"stops": [{**STOPS[0], "place": 3}]}, "", "The place of stop mill is 3"),
        ({"stops": [{**STOPS[0], "prize": -1}]}, "/stops/0", "prize of stop mill is -1"),
        ({"stops": [{**STOPS[0], "price": 1}]}, "/stops/0/price", ""),
        ({"stops": [{**STOPS[0], "prize": 1.5}]}, "/stops/0/prize", "integer"),
        ({"places": [{"latitude": 95.0, "longitude": 8.0}]}, "/places/0", "latitude 95.0"),
        ({"multiplier": 9.0}, "", "multiplier is 9.0"),
        ({"vehicles": [{**VAN, "end_depot": "moon"}]}, "", "names no depot given: 'moon'"),
    ],
)
def test_a_fault_is_told_by_its_place(change: dict[str, Any], pointer: str, said: str) -> None:
    with pytest.raises(BadQuestion) as refused:
        RUNS.ask(json.dumps({**QUESTION, **change}).encode())
    (fault,) = refused.value.faults
    assert fault.pointer == pointer
    assert said in fault.detail


def test_the_schema_has_units_in_its_keys() -> None:
    schema = RUNS.schema()
    stop = schema["question"]["$defs"]["Stop"]["properties"]
    assert {"service_s", "prize", "must_go", "windows", "load"} <= stop.keys()
    assert {"plan", "reasons", "score", "travel"} <= schema["answer"]["properties"].keys()
