"""`manage.py compute restock`: a restock question in JSON, answered without anything around."""

from __future__ import annotations

import json

import pytest
from scipy import stats

from api.computations import COMPUTATIONS, BadQuestion
from tests.api.test_compute import compute

RESTOCK = COMPUTATIONS["restock"]
COLUMN = {
    "column": "4",
    "product": "still water",
    "capacity_units": 30,
    "stock_units": 6,
    "daily_units": [1.4] * 14,
    "margin_minor": 110,
    "leftover_minor": 6,
}
QUESTION = {"columns": [COLUMN], "next_visit_day": 7}


def ask(**more):
    question = {**QUESTION, **more}
    return RESTOCK.plain(RESTOCK.ask(json.dumps(question).encode()))


def test_a_question_is_answered_by_the_command():
    done = compute("restock", question=QUESTION)

    assert done.returncode == 0, done.stderr
    column = json.loads(done.stdout)["columns"][0]
    # Poisson of 9.8 in a week, ratio 110 / 116: 15, by scipy.
    assert column["level_units"] == int(stats.poisson.ppf(110 / 116, 9.8)) == 15
    assert column["fill_units"] == column["expected_fill_units"] == 15 - 6
    assert column["chance_dry_by_day"][2] == pytest.approx(stats.poisson.sf(5, 4.2))
    assert {one["code"] for one in column["reasons"]} >= {"critical_ratio", "outcome"}


def test_a_truck_carries_what_several_columns_need_less_what_it_holds():
    other = {**COLUMN, "column": "5", "stock_low_units": 2, "stock_high_units": 10}
    answer = ask(
        columns=[COLUMN, other],
        truck=[{"product": "still water", "units": 4, "units_per_case": 12}],
    )

    carried = answer["products"][0]["carried"]
    # 9 for the counted column; from 5 to 13, all alike, for the other, in 19 cases of 20.
    assert carried["required"] == 9 + 13
    assert (carried["load"], carried["cases"]) == (24, 2)
    assert carried["expected"] == pytest.approx(9 + 9)


def test_a_visit_later_finds_less_and_old_lots_are_pulled():
    lots = [{"units": 4, "last_day": 1}, {"units": 2}]
    late = ask(columns=[{**COLUMN, "lots": lots}], visit_day=3, next_visit_day=10)["columns"][0]
    now = ask()["columns"][0]

    assert late["expected_fill_units"] > now["expected_fill_units"]
    assert [(one["lot"], one["pull_units"]) for one in late["pulls"]] == [(0, 4)]
    assert now["pulls"] == []


def test_a_date_lowers_the_level():
    soon = {**COLUMN, "fresh_last_day": 7, "waste_minor": 70}
    assert ask(columns=[soon])["columns"][0]["level_units"] < 15


def test_shuffled_columns_have_the_same_answers():
    columns = [{**COLUMN, "column": str(n), "daily_units": [0.3 * n] * 14} for n in range(5)]
    plain = ask(columns=columns)["columns"]
    assert ask(columns=columns[::-1])["columns"] == plain[::-1]


@pytest.mark.parametrize(
    ("more", "pointer"),
    [
        ({"columns": [{**COLUMN, "capacity_units": -1}]}, "/columns/0/capacity_units"),
        ({"columns": [{**COLUMN, "stock_low_units": 8}]}, "/columns/0/stock_units"),
        ({"columns": [{**COLUMN, "daily_units": [1, -1]}]}, "/columns/0/daily_units/1"),
        ({"columns": []}, "/columns"),
        ({"next_visit_day": 15}, "/next_visit_day"),
        ({"visit_day": 7}, "/visit_day"),
        ({"servicelevel": 1}, "/servicelevel"),
        ({"columns": [{**COLUMN, "daily_units": [500.0] * 14}] * 900}, "/columns"),
    ],
)
def test_a_fault_is_named_by_its_place(more, pointer):
    with pytest.raises(BadQuestion) as refused:
        ask(**more)
    assert [one.pointer for one in refused.value.faults] == [pointer]


def test_the_schema_describes_question_and_answer():
    schema = RESTOCK.schema()
    assert "daily_units" in json.dumps(schema["question"])
    assert "margin_lost_minor_by_day" in json.dumps(schema["answer"])
