"""`manage.py compute deposit|energy|coins`, with nothing else around."""

import json
from typing import Any

import pytest

from api.computations import COMPUTATIONS, BadQuestion, help_of
from api.computations.examples import EXAMPLES
from tests.api.test_compute import compute

CAN: dict[str, Any] = {
    "state": "CA",
    "on": "2026-01-01",
    "volume_ml": "354.88",
    "material": "aluminium",
    "drink": {"carbonated": True, "contains_milk": False, "juice_percent": 0},
    "containers": 24,
}
MACHINE: dict[str, Any] = {"energy_class": "A", "made_on": "2020-01-01", "volume_ft3": "20"}
BAG: dict[str, Any] = {
    "coins": [{"minor": 5, "weight_g": "440"}, {"minor": 100, "number": 41}],
    "mixed_weight_g": "1375.542",
    "notes": [{"minor": 100, "number": 12}],
}


def ask(name: str, question: Any) -> Any:
    computation = COMPUTATIONS[name]
    return computation.plain(computation.ask(json.dumps(question).encode()))


def test_a_deposit_is_answered_at_the_command() -> None:
    done = compute("deposit", question=CAN)
    assert done.returncode == 0, done.stderr
    answer = json.loads(done.stdout)
    # Cal. Pub. Res. Code 14560: 5 cents below 24 fl oz.
    assert answer["total"] == "1.20"
    assert "14560" in answer["deposit"]["citation"]
    assert "no tax advice" in answer["note"]


def test_energy_is_measured_beside_its_limit() -> None:
    # 10 CFR 431.296: 0.052 x 20 + 2.43.
    answer = ask("energy", {**MACHINE, "kwh": "40", "days": "10"})
    assert answer["limit"]["kwh_per_day"] == "3.4700"
    assert answer["measured"]["within"] is False
    assert ask("energy", MACHINE)["measured"] is None


def test_a_bag_is_added_up() -> None:
    # 88 nickels, 41 dollars, 60.65 of mixed coins by the mint's weights, twelve notes of one.
    answer = ask("coins", BAG)
    assert answer["amount_minor"] == 440 + 4100 + 6065 + 1200
    assert answer["certain"] is False
    assert ask("coins", {"coins": [{"minor": 25, "number": 4}]})["certain"] is True


@pytest.mark.parametrize(
    ("name", "question", "pointer"),
    [
        ("deposit", {**CAN, "state": "California"}, "/state"),
        ("deposit", {**CAN, "material": "wood"}, "/material"),
        ("deposit", {**CAN, "containers": 0}, "/containers"),
        ("energy", {**MACHINE, "volume_l": "700"}, "/volume_l"),
        ("energy", {**MACHINE, "volume_ft3": "-3"}, "/volume_ft3"),
        ("energy", {**MACHINE, "kwh": "40"}, "/days"),
        ("energy", {**MACHINE, "energy_class": "C"}, "/energy_class"),
        ("coins", {"coins": [{"minor": 3, "number": 1}]}, "/coins/0/minor"),
        ("coins", {"coins": [{"minor": 5}]}, "/coins/0"),
        ("coins", {"notes": [{"minor": 300, "number": 1}]}, "/notes/0/minor"),
        ("coins", {"mixed_weight_g": "-1"}, "/mixed_weight_g"),
    ],
)
def test_a_fault_is_named_by_its_place(name: str, question: Any, pointer: str) -> None:
    with pytest.raises(BadQuestion) as refused:
        ask(name, question)
    assert [one.pointer for one in refused.value.faults] == [pointer]


@pytest.mark.parametrize("name", sorted(COMPUTATIONS))
def test_every_computation_has_a_help_of_its_own(name: str) -> None:
    computation = COMPUTATIONS[name]
    said = help_of(computation)
    assert computation.about in said
    for field in computation.schema()["question"]["properties"]:
        assert f" {field}: " in said
    # The example is one that is answered.
    example = json.loads(said.partition("For example:")[2])
    assert computation.plain(computation.ask(json.dumps(example).encode()))


def test_the_help_is_told_at_the_command() -> None:
    done = compute("tax", "--help")
    assert done.returncode == 0, done.stderr
    assert "* receipts: number, or as text, money" in done.stdout
    assert '7.25 % is "0.0725"' in done.stdout
    assert "capacity_units" not in done.stdout
    assert "--schema" in compute("--help").stdout


@pytest.mark.parametrize(
    ("rate", "said"),
    [
        ("7.25", "7.25 is no fraction below 1; give 0.0725 for 7.25 %"),
        ("-1", "-1 is no fraction below 1; give 0.0625 for 6.25 %"),
    ],
)
def test_a_percent_for_a_fraction_is_told_plainly(rate: str, said: str) -> None:
    question = {**EXAMPLES["tax"], "rates": [{"name": "California", "general": rate}]}
    with pytest.raises(BadQuestion) as refused:
        ask("tax", question)
    (fault,) = refused.value.faults
    assert (fault.pointer, fault.detail) == ("/rates/0/general", said)
