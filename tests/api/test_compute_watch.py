"""`manage.py compute watch`: what the numbers suspect, with nothing else around."""

import json
from datetime import date, timedelta
from typing import Any

import pytest

from api.computations import COMPUTATIONS, BadQuestion
from tests.api.test_compute import compute

WATCH = COMPUTATIONS["watch"]
FIRST = date(2026, 5, 4)


def daily(column: str, expected: float, sold: list[int]) -> list[dict[str, Any]]:
    return [
        {
            "column": column,
            "day": str(FIRST + timedelta(index)),
            "expected_units": expected,
            "sold_units": units,
        }
        for index, units in enumerate(sold)
    ]


SILENT = [2, 1, *[0] * 9]
SELLS = [3, 1, 2, 4, 2, 3, 2, 1, 3, 4, 2]
QUESTION: dict[str, Any] = {
    "columns": [
        {
            "column": "front 1",
            "machine": "hall",
            "facts": {
                "deep_loaded": 1,
                "deep_programmed": 2,
                "program_risk": "false_sold_out",
                "days_since_changeover": 9,
            },
        },
        {"column": "front 2", "machine": "hall"},
        {"column": "front 3", "machine": "hall"},
    ],
    "days": daily("front 1", 1.4, SILENT)
    + daily("front 2", 2.5, SELLS)
    + daily("front 3", 2.0, SELLS),
    "counts": [
        {"column": "front 3", "day": "2026-05-08", "vended_units": 12, "missing_units": 3},
        {"column": "front 3", "day": "2026-05-14", "vended_units": 15, "missing_units": 4},
    ],
}


def asked(**changes: Any) -> Any:
    return WATCH.plain(WATCH.ask(json.dumps(QUESTION | changes).encode()))


def test_findings_come_with_evidence_and_causes() -> None:
    done = compute("watch", question=QUESTION)
    assert done.returncode == 0, done.stderr
    answer = json.loads(done.stdout)
    found = {one["column"]: one for one in answer["findings"]}
    assert {name: one["kind"] for name, one in found.items()} == {
        "front 1": "silent",
        "front 3": "two_for_one",
    }
    silent = found["front 1"]
    assert silent["said"].startswith("Sold nothing where 13 units were to be expected, while the ")
    assert silent["causes"][0]["code"] == "depth_program"
    assert "programmed 2 deep and loaded 1 deep" in silent["causes"][0]["why"]
    assert found["front 3"]["signs"] == {"goes_with_vends": True}


def test_the_chances_are_those_of_the_formulas() -> None:
    """9 days at 1.4 on 40 sales: (1 + 12.6 / 40)^-40; nothing else is silent, of three columns."""
    columns = {one["column"]: one for one in asked()["columns"]}
    one = columns["front 1"]
    assert one["chance_by_rate"] == pytest.approx((1 + 12.6 / 40) ** -40)
    assert one["silent_since"] == "2026-05-06"
    assert one["neighbours_sold_units"] == 2 * sum(SELLS[2:])
    assert one["p_value"] == max(one["chance_by_rate"], one["chance_by_share"])
    assert one["false_share"] == pytest.approx(3 * one["p_value"])
    assert columns["front 2"]["silent_since"] is None
    assert columns["front 2"]["p_value"] == 1
    assert columns["front 2"]["missing_p_value"] is None
    assert columns["front 3"]["missing_units"] == 7


def test_the_order_of_days_changes_nothing() -> None:
    assert asked(days=QUESTION["days"][::-1]) == asked()


def test_days_known_to_be_empty_are_no_silence() -> None:
    days = [one | {"empty": one["column"] == "front 1"} for one in QUESTION["days"]]
    columns = asked(days=days)["columns"]
    assert columns[0]["expected_units"] == 0
    assert columns[0]["p_value"] == 1


def test_closed_tickets_move_a_cause_up() -> None:
    closed = [{"kind": "two_for_one", "cause": "counted_wrongly"}] * 40
    plain, learned = (
        next(one for one in answer["findings"] if one["kind"] == "two_for_one")["causes"]
        for answer in (asked(), asked(closed=closed))
    )
    assert plain[0]["code"] != "counted_wrongly"
    told = next(one for one in learned if one["code"] == "counted_wrongly")
    assert (told["cases"], told["cases_in_all"]) == (40, 40)


def test_without_days_or_counts_nothing_is_found() -> None:
    assert asked(days=[], counts=[])["findings"] == []


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"columns": []}, "/columns"),
        ({"columns": [QUESTION["columns"][0]] * 2}, "/columns/1/column"),
        ({"columns": [{"column": "a", "machine": "b", "deep": 0}]}, "/columns/0/deep"),
        ({"days": daily("front 9", 1, [1])}, "/days/0/column"),
        ({"days": daily("front 1", -1, [1])}, "/days/0/expected_units"),
        ({"days": daily("front 1", 1, [-1])}, "/days/0/sold_units"),
        ({"days": daily("front 1", 1, [1]) * 2}, "/days/1/day"),
        ({"counts": [QUESTION["counts"][0] | {"column": "x"}]}, "/counts/0/column"),
        ({"counts": [QUESTION["counts"][0] | {"vended_units": -1}]}, "/counts/0/vended_units"),
        ({"false_share": 1.5}, "/false_share"),
        ({"closed": [{"kind": "haunted", "cause": "x"}]}, "/closed/0/kind"),
        (
            {"columns": [{"column": "a", "machine": "b", "facts": {"deep_lded": 1}}]},
            "/columns/0/facts/deep_lded",
        ),
    ],
)
def test_a_question_that_cannot_be_is_refused_by_its_place(
    changes: dict[str, Any], pointer: str
) -> None:
    with pytest.raises(BadQuestion) as refused:
        WATCH.ask(json.dumps(QUESTION | changes).encode())
    assert refused.value.faults[0].pointer == pointer
