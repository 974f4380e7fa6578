"""The form of a rule of tax holds all that a rule can say: what it lost would change the tax."""

from dataclasses import fields

import pytest

from office.forms.tax import RuleForm
from service.compliance.packs import packs
from service.compute.tax.rules import Rule, rule_from


def test_every_field_of_a_rule_is_in_the_form() -> None:
    assert {one.name for one in fields(Rule)} <= set(RuleForm.base_fields)


@pytest.mark.parametrize("rule", packs(), ids=lambda rule: rule.key)
def test_a_rule_goes_through_the_form_unchanged(rule: Rule) -> None:
    """With what the form itself begins with where the rule is as usual."""
    usual = {name: one.initial for name, one in RuleForm.base_fields.items() if one.initial}
    shown = {"rate_kind": "general", "rank": 0, **usual, **RuleForm.of(rule).initial}
    form = RuleForm(data={**shown, "why": "nothing changes"})
    assert form.is_valid(), form.errors
    assert rule_from(form.data_of_rule()) == rule


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("0.06, 1.0645\n0.060, 1.07", "line 2 gives 0.060 a second figure"),
        ("0.06, sNaN", "line 1 is not two figures"),
        ("0.06", "line 1 is not two figures"),
    ],
)
def test_a_table_that_says_two_things_is_refused(typed: str, said: str) -> None:
    form = RuleForm(data={"divisors": typed})
    assert said in form.errors["divisors"][0]
