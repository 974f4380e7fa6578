"""Figures of a return set beside the same figures made again."""

import copy
from datetime import date
from decimal import Decimal

import pytest

from service.compute.tax.classes import ClassCode, Status
from service.compute.tax.compare import Difference, differences
from service.compute.tax.report import Fact, figures, inputs, report, thawed
from service.compute.tax.rules import Rule, Rules, Sale, Shape
from service.compute.tax.split import RateOf

STATE = RateOf("NJ", "New Jersey", "state", Decimal("0.06625"))
RULES = (
    Rule("nj-all", "NJ", "all of it", Shape.INCLUDED, "none, of a test", Status.MEMORY),
    Rule(
        "ar-all",
        "AR",
        "a decal",
        Shape.DECAL,
        "none, of a test",
        Status.MEMORY,
        decal=Decimal(93),
    ),
)


def facts() -> tuple[Fact, ...]:
    day = date(2026, 2, 1)
    jersey = Sale("NJ", day, ClassCode.CANDY, price=Decimal("1.50"))
    arkansas = Sale("AR", day, ClassCode.CANDY, price=Decimal("1.50"))
    return (
        Fact("1:1", jersey, (STATE,), 10, Decimal("15.00"), machine="1"),
        Fact("2:1", arkansas, (), 4, Decimal("6.00"), machine="2"),
    )


def test_the_same_inputs_give_the_same_figures() -> None:
    held = inputs(facts(), RULES)
    again, rules = thawed(held)
    was = figures(report(facts(), Rules.of(RULES)))
    assert differences(was, figures(report(again, Rules.of(rules)))) == ()


def test_a_figure_is_a_figure_however_it_is_written() -> None:
    was = figures(report(facts(), Rules.of(RULES)))
    other = copy.deepcopy(was)
    other["totals"]["tax"] = f"{Decimal(was['totals']['tax']):.4f}"
    assert differences(was, other) == ()


@pytest.mark.parametrize("name", ["receipts", "taxable", "tax", "units"])
def test_each_figure_of_a_line_is_compared(name: str) -> None:
    was = figures(report(facts(), Rules.of(RULES)))
    other = copy.deepcopy(was)
    line = next(one for one in other["lines"] if one["state"] == "NJ")
    before = str(line[name])
    line[name] = str(Decimal(before) + 1)
    where = "NJ, New Jersey, candy, nj-all, 0.06625"
    assert differences(was, other) == (Difference(where, name, before, line[name]),)


def test_what_is_missing_and_what_is_more_is_told() -> None:
    was = figures(report(facts(), Rules.of(RULES)))
    other = copy.deepcopy(was)
    other["due"]["NY"] = "1.00"
    other["decals"][0]["machines"] = 2
    del other["lines"][1]
    found = differences(was, other)
    assert Difference("due", "NY", "none", "1.00") in found
    assert Difference("AR, ar-all, decal of 93", "machines", "1", "2") in found
    assert any(one.again == "none" for one in found)
