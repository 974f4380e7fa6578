"""`manage.py compute tax`: asked without a database, as the documents say."""

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from api.computations import COMPUTATIONS, BadQuestion

ROOT = Path(__file__).parents[2]


def _ask(question: dict[str, Any]) -> dict[str, Any]:
    tax = COMPUTATIONS["tax"]
    return tax.plain(tax.ask(json.dumps(question).encode()))  # type: ignore[no-any-return]


def test_the_command_needs_no_database() -> None:
    question = {
        "rule": "ca-food",
        "receipts": "10000.00",
        "on": "2026-03-02",
        "rates": [{"name": "California", "general": "0.0725"}],
    }
    run = subprocess.run(
        [sys.executable, "manage.py", "compute", "tax"],
        cwd=ROOT,
        input=json.dumps(question),
        env={"PATH": "/usr/bin:/bin"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert run.returncode == 0, run.stderr
    answer = json.loads(run.stdout)
    assert (answer["split"]["taxable"], answer["split"]["tax"]) == ("3222.89", "233.66")
    assert "18 CCR 1574" in answer["rule"]["citation"]
    assert answer["rule"]["status"].startswith("verified")
    assert "no tax advice" in answer["advice"]
    described = subprocess.run(
        [sys.executable, "manage.py", "compute", "tax", "--schema"],
        cwd=ROOT,
        env={"PATH": "/usr/bin:/bin"},
        capture_output=True,
        text=True,
        check=True,
    )
    jsonschema.validate(answer, json.loads(described.stdout)["answer"])


def test_one_product_is_candy_here_and_food_there() -> None:
    asked = {
        "receipts": "100.00",
        "on": "2026-03-02",
        "price": "1.75",
        "product": {
            "form": "bar_drop_piece",
            "sweetened": True,
            "contains_flour": True,
            "needs_refrigeration": False,
        },
        "rates": [{"name": "state", "general": "0.06"}],
    }
    here = _ask({**asked, "state": "MN"})
    assert here["product_class"]["code"] == "other_food"
    assert "flour" in here["product_class"]["why"]
    assert here["split"]["exempt"] == "100.00"
    candy = {**asked, "product": {**asked["product"], "contains_flour": False}, "state": "MN"}
    assert _ask(candy)["product_class"]["code"] == "candy"


def test_no_rule_is_no_guess() -> None:
    answer = _ask(
        {
            "receipts": "100.00",
            "on": "2026-03-02",
            "state": "MT",
            "product": {"form": "not_food"},
        }
    )
    assert answer["rule"] is None
    assert answer["split"]["unclassified"] == "100.00"
    assert answer["split"]["why"] == ["no rule of MT is entered"]


def test_a_table_asks_for_the_sales() -> None:
    """61 Pa. Code 31.2, of 100 sales at 1.75 with the tax in the price."""
    asked = {
        "rule": "pa-taxable",
        "receipts": "175.00",
        "on": "2026-03-02",
        "price": "1.75",
        "rates": [{"name": "state", "general": "0.06"}],
        "rounding": "brackets",
    }
    assert _ask({**asked, "units": 100})["split"]["tax"] == "10.00"
    assert _ask(asked)["split"]["unclassified"] == "175.00"


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"rule": "xx"}, "/rule"),
        ({"rule": {"key": "x", "state": "NJ"}}, "/rule/shape"),
        ({"receipts": "-1"}, "/receipts"),
        ({"receipts": "10.005"}, "/receipts"),
        ({"deposits": "0.001"}, "/deposits"),
        ({"cost": "1e40"}, "/cost"),
        ({"deposits": "11"}, "/deposits"),
        ({"rule": None}, "/state"),
        ({"on": "1980-01-01"}, "/on"),
        ({"rates": [{"name": "x", "general": "7"}]}, "/rates/0/general"),
    ],
)
def test_bad_questions_are_told_by_place(change: dict[str, Any], pointer: str) -> None:
    asked = {"rule": "ca-food", "receipts": "10", "on": "2026-03-02", **change}
    with pytest.raises(BadQuestion) as refused:
        _ask(asked)
    assert pointer in [fault.pointer for fault in refused.value.faults]
