"""`manage.py compute swap`: what should lie in which column, asked in JSON."""

from __future__ import annotations

import json

import pytest

from api.computations import COMPUTATIONS, BadQuestion
from tests.api.test_compute import compute

SWAP = COMPUTATIONS["swap"]
QUESTION = {
    "columns": [
        {"column": "1", "product": "cola", "units": 30},
        {"column": "2", "product": "iced tea", "units": 24},
    ],
    "products": [
        {"product": "cola", "weekly_units": 25, "margin_minor": 90},
        {"product": "iced tea", "weekly_units": 2, "margin_minor": 100},
        {"product": "water", "weekly_units": 14, "margin_minor": 110, "weekly_sd_units": 5},
    ],
    "fits": [
        {"column": "1", "product": "cola", "units": 30, "minutes": 25},
        {"column": "2", "product": "water", "units": 20, "minutes": 25},
        {"column": "2", "product": "iced tea", "units": 24, "minutes": 25},
    ],
    "minute_minor": 60,
}


def ask(**more):
    return SWAP.plain(SWAP.ask(json.dumps({**QUESTION, **more}).encode()))


def test_a_question_is_answered_by_the_command():
    done = compute("swap", question=QUESTION)

    assert done.returncode == 0, done.stderr
    answer = json.loads(done.stdout)
    assert [(one["column"], one["product_after"]) for one in answer["changes"]] == [("2", "water")]
    assert answer["proven"] is True
    assert answer["gain"]["work_minutes"] == 25
    assert 0.9 < answer["gain"]["chance_of_gain"] <= 1
    assert answer["instead"] is None


def test_another_change_is_compared_beside_the_suggestion():
    answer = ask(instead=[{"column": "1", "product": "cola", "units": 5}])

    assert answer["instead"]["gain_minor"] < 0 < answer["gain"]["gain_minor"]
    sold = {one["product"]: one["sold_after"] for one in answer["instead"]["products"]}
    assert sold["cola"] == pytest.approx(5, abs=1e-3)


def test_shuffled_products_have_the_same_answer():
    plain = ask()
    shuffled = ask(products=QUESTION["products"][::-1])
    assert shuffled["changes"][0]["product_after"] == plain["changes"][0]["product_after"]
    assert shuffled["gain"]["gain_minor"] == pytest.approx(plain["gain"]["gain_minor"], rel=1e-6)


@pytest.mark.parametrize(
    ("more", "pointer"),
    [
        ({"fits": [{"column": "9", "product": "cola", "units": 3}]}, "/fits/0/column"),
        ({"instead": [{"column": "1", "product": "juice", "units": 3}]}, "/instead/0/product"),
        ({"instead": [{"column": "1", "product": "water", "units": 3}]}, "/instead"),
        ({"products": [QUESTION["products"][0]] * 2}, "/products"),
        ({"visit_days": 0}, "/visit_days"),
        ({"turns": [{"product": "cola", "turns_to": "water", "share": 1.5}]}, "/turns/0/share"),
        ({"turns": [{"product": "cola", "turns_to": "cola", "share": 0.5}]}, "/turns"),
        ({"colour": "red"}, "/colour"),
    ],
)
def test_a_fault_is_named_by_its_place(more, pointer):
    with pytest.raises(BadQuestion) as refused:
        ask(**more)
    assert [one.pointer for one in refused.value.faults] == [pointer]
