"""`manage.py compute`: the computations with JSON in and out, with nothing else around."""

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from tests.api.test_fit import QUESTION

ROOT = Path(__file__).resolve().parents[2]


def compute(*arguments: str, question: Any = None) -> subprocess.CompletedProcess[str]:
    """Run the command as on a machine without any setting."""
    text = question if isinstance(question, str) else json.dumps(question)
    return subprocess.run(
        [sys.executable, str(ROOT / "manage.py"), "compute", *arguments],
        input=text,
        capture_output=True,
        text=True,
        env={"PATH": "/usr/bin:/bin"},
        timeout=60,
        check=False,
    )


def test_a_question_is_answered() -> None:
    done = compute("fit", question=QUESTION)
    assert done.returncode == 0, done.stderr
    answer = json.loads(done.stdout)
    # 2 x 122.2 = 244.4 mm of 252: two deep, by the sizes in the question.
    assert answer["deep"] == 2
    # Zero at 92 mm, 8 mm a notch: notch 20 is 252 mm from the beam, 7.6 mm behind two cans.
    assert answer["front"]["notch"] == 20
    assert answer["front"]["play_mm"] == pytest.approx(7.6)
    assert all(reason["code"] and reason["text"] for reason in answer["reasons"])


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"package": {"kind": "can", "lenght_mm": 1}}, "/package/lenght_mm"),
        ({"package": {"kind": "can", "length_mm": "122"}}, "/package/length_mm"),
        ({"package": {"kind": "can", "length_mm": -3}}, "/package/length_mm"),
        ({"package": {"kind": "tin"}}, "/package/kind"),
        ({"colour": "red"}, "/colour"),
        ({"rules": {"least_play_mm": 20, "most_play_mm": 10}}, "/rules/least_play_mm"),
        ({"charts": [{"source": "computed", "deep": 1}]}, "/charts/0/source"),
    ],
)
def test_a_fault_is_named_by_its_place(change: dict[str, Any], pointer: str) -> None:
    done = compute("fit", question={**QUESTION, **change})
    assert done.returncode == 2
    assert done.stdout == ""
    assert [one["pointer"] for one in json.loads(done.stderr)["faults"]] == [pointer]


def test_what_is_no_json() -> None:
    done = compute("fit", question="{")
    assert done.returncode == 2
    assert json.loads(done.stderr)["faults"][0]["code"] == "json_invalid"


def test_the_schema_has_units_in_its_keys() -> None:
    done = compute("fit", "--schema")
    assert done.returncode == 0, done.stderr
    schema = json.loads(done.stdout)
    package = schema["question"]["$defs"]["Package"]
    assert {"length_mm", "diameter_mm", "weight_g", "volume_ml"} <= package["properties"].keys()
    assert package["additionalProperties"] is False
    assert "verdict" in schema["answer"]["properties"]


def test_an_unknown_computation() -> None:
    done = compute("fortune", question={})
    assert done.returncode != 0
    assert "fit" in done.stderr
