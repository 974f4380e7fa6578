"""Rules and rate files at the door: what is wrong, where, and what would be right."""

from datetime import date
from decimal import Decimal

import pytest

from service.compliance.packs import packs
from service.compute.tax.classes import Attributes, ClassCode, Form, Water, classify
from service.compute.tax.rates import BadRateFile, on, read_rates
from service.compute.tax.rules import BadRule, plain, rule_from
from service.compute.tax.split import RateOf

GOOD = {
    "key": "x",
    "state": "OH",
    "title": "t",
    "shape": "percent_of_gross",
    "share": "0.5",
    "citation": "c",
    "status": "read",
}


@pytest.mark.parametrize(
    ("change", "field", "said"),
    [
        ({"state": "Ohio"}, "state", "two letters"),
        ({"share": "1.5"}, "share", "at most 1"),
        ({"share": 0.5}, "share", "binary fractions"),
        ({"share": "half"}, "share", "no number"),
        ({"shape": "round"}, "shape", "round"),
        ({"shape": "cost"}, "markup", "multiplied"),
        ({"shape": "divisor"}, "divisors", "table"),
        ({"shape": "decal"}, "decal", "a machine and year"),
        ({"shape": "brackets"}, "brackets", "up to a price of 1"),
        ({"begins": "2026-02-01", "ends": "2026-02-01"}, "ends", "after"),
        ({"over": "2.00", "at_most": "1.00"}, "over", "upper bound"),
        ({"rate": "6"}, "rate", "0.06 for 6 %"),
        ({"citation": " "}, "citation", "name the law"),
        ({"colour": "red"}, "colour", "no field"),
        ({"classes": ["unknown"]}, "classes", "no class"),
        ({"title": None}, "title", "missing"),
        ({"least_share": "2"}, "least_share", "at most 1"),
        ({"bulk": "yes"}, "bulk", "true or false"),
        ({"brackets": {"0.5": "0.06", "1": "0.03"}}, "brackets", "rising"),
    ],
)
def test_a_bad_rule_says_what_is_wrong(change: dict[str, object], field: str, said: str) -> None:
    with pytest.raises(BadRule) as refused:
        rule_from({**GOOD, **change})
    assert said in refused.value.faults[field]


def test_rules_survive_being_written_down() -> None:
    assert all(rule_from(plain(rule)) == rule for rule in packs())


# Two lines as the published description of the file has the fields; codes and rates are invented.
FILE = (
    "34,45,34,0.06625,0.06625,0,0,20180101,29991231\n"
    "39,00,049,0.0125,0.0125,0,0,20200401,20260331\n"
    "39,00,049,0.0175,0.0175,0,0,20260401,29991231\n"
)


def test_a_rate_file_is_read() -> None:
    state, old, new = read_rates(FILE)
    assert (state.state, state.kind, state.general, state.ends) == (
        "NJ",
        "state",
        Decimal("0.06625"),
        None,
    )
    assert (old.code, old.kind) == ("OH-00-00049", "county")
    assert (old.ends, new.begins) == (date(2026, 4, 1), date(2026, 4, 1))


def test_the_rate_of_the_day_is_taken() -> None:
    rows = [
        (RateOf(one.code, one.code, one.kind, one.general, one.food), one.begins, one.ends)
        for one in read_rates(FILE)
    ]
    before, after = on(rows, date(2026, 3, 31)), on(rows, date(2026, 4, 1))
    assert [one.general for one in before] == [Decimal("0.06625"), Decimal("0.0125")]
    assert [one.general for one in after] == [Decimal("0.06625"), Decimal("0.0175")]


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("34,45,34,0.06", "has 4 fields"),
        ("99,45,34,0.06,0.06,0,0,20260101,29991231", "no state's two digits"),
        ("34,77,34,0.06,0.06,0,0,20260101,29991231", "45 state"),
        ("34,45,x,0.06,0.06,0,0,20260101,29991231", "five digits"),
        ("34,45,34,6,6,0,0,20260101,29991231", "0.065"),
        ("34,45,34,a,6,0,0,20260101,29991231", "no number"),
        ("34,45,34,0.06,0.06,0,0,2026-01-01,29991231", "no date"),
        ("34,45,34,0.06,0.06,0,0,20260201,20260101", "before the first"),
    ],
)
def test_a_bad_line_is_named(line: str, said: str) -> None:
    with pytest.raises(BadRateFile, match=r"line 2: ") as refused:
        read_rates(FILE.splitlines()[0] + "\n" + line)
    assert said in refused.value.lines[0].said


def test_two_rates_on_one_day_are_refused() -> None:
    with pytest.raises(BadRateFile, match="another rate on 2026-03-01"):
        read_rates(FILE + "39,00,049,0.02,0.02,0,0,20260301,20260331\n")


def test_lines_are_counted_as_they_stand_in_the_file() -> None:
    """Blank lines count; a rate within a longer one is found even behind another one."""
    text = (
        "39,00,049,0.01,0.01,0,0,20200101,29991231\n\n"
        "39,00,049,0.02,0.02,0,0,20210101,20210131\n"
        "39,00,049,0.03,0.03,0,0,20220101,20220131\n"
    )
    with pytest.raises(BadRateFile) as refused:
        read_rates(text)
    assert [one.number for one in refused.value.lines] == [3, 4]
    assert all("in line 1" in one.said for one in refused.value.lines)


def test_an_empty_file_is_refused() -> None:
    with pytest.raises(BadRateFile, match="empty"):
        read_rates("\n")


@pytest.mark.parametrize(
    ("product", "state", "code"),
    [
        # Outcomes published with the Streamlined definitions (Minnesota, Washington).
        (
            Attributes(Form.BAR_DROP_PIECE, True, contains_flour=False, needs_refrigeration=False),
            "MN",
            ClassCode.CANDY,
        ),
        (Attributes(Form.BAR_DROP_PIECE, True, contains_flour=True), "MN", ClassCode.OTHER_FOOD),
        (
            Attributes(Form.BAR_DROP_PIECE, True, contains_flour=False, needs_refrigeration=True),
            "WA",
            ClassCode.CHILLED_FOOD,
        ),
        # Exactly half juice is still a soft drink; New York asks for 70 %, Pennsylvania for 25 %.
        (Attributes(Form.DRINK, True, 50, False), "OH", ClassCode.SOFT_DRINK),
        (Attributes(Form.DRINK, True, 51, False), "OH", ClassCode.JUICE),
        (Attributes(Form.DRINK, True, 69, False), "NY", ClassCode.SOFT_DRINK),
        (Attributes(Form.DRINK, True, 70, False), "NY", ClassCode.JUICE),
        (Attributes(Form.DRINK, True, 24, False), "PA", ClassCode.SOFT_DRINK),
        (Attributes(Form.DRINK, True, 25, False), "PA", ClassCode.JUICE),
        (Attributes(Form.DRINK, True, 0, True), "OH", ClassCode.MILK),
        (Attributes(Form.DRINK, water=Water.PLAIN), "OH", ClassCode.WATER),
        (Attributes(Form.DRINK, supplement_facts=True), "WA", ClassCode.SUPPLEMENT),
        # Cotton candy is no bar, drop or piece; honey-roasted nuts are pieces and candy.
        (Attributes(Form.OTHER_FOOD, True, needs_refrigeration=False), "MN", ClassCode.OTHER_FOOD),
        # Soy and rice drinks count as milk substitutes, sweetened or not.
        (Attributes(Form.DRINK, True, 0, True), "WA", ClassCode.MILK),
        # What nobody has written down gives no class.
        (Attributes(Form.DRINK, None, 0, False), "OH", ClassCode.UNKNOWN),
        (Attributes(Form.DRINK, True, None, False), "OH", ClassCode.UNKNOWN),
        (Attributes(Form.BAR_DROP_PIECE, True), "OH", ClassCode.UNKNOWN),
        (Attributes(Form.OTHER_FOOD), "OH", ClassCode.UNKNOWN),
    ],
)
def test_classes(product: Attributes, state: str, code: ClassCode) -> None:
    found = classify(product, state)
    assert found.code is code
    assert found.why
    assert found.citation


def test_a_state_without_definitions_of_its_own_says_so() -> None:
    found = classify(Attributes(Form.DRINK, True, 0, False), "MT")
    assert not found.status.is_verified
    assert "no definition of MT" in found.citation
