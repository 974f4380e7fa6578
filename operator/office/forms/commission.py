"""What is asked of agreements with hosts, statements, and settlements of cards."""

import re
from decimal import Decimal
from typing import Any

from django import forms

from fleet.compute.commission import Off
from fleet.machines.models import Site
from fleet.sales.models import Agreement
from fleet.sales.terms import CLASSES

from .changeovers import DayInput

DECIMAL = {"inputmode": "decimal", "autocomplete": "off"}


def figure(label: str, **more: Any) -> forms.DecimalField:
    return forms.DecimalField(
        label=label, max_digits=12, decimal_places=4, widget=forms.TextInput(DECIMAL), **more
    )


class AgreementForm(forms.ModelForm):
    """Terms in inputs of their own: percents by class, steps as lines, minimum and base."""

    steps = forms.CharField(
        required=False,
        widget=forms.Textarea({"rows": 3}),
        help_text="A line a step: from how much in the period, and the percent, as in: 1000 8",
    )
    marginal = forms.BooleanField(
        label="Each step's percent on what lies within it only", required=False
    )
    minimum = figure("At least, a period", required=False, min_value=0)
    minimum_in_part = forms.ChoiceField(
        label="The minimum of a period that the agreement covers only partly",
        choices=[("days", "by days"), ("whole", "whole")],
        required=False,
    )
    steps_in_part = forms.ChoiceField(
        label="Steps in such a period",
        choices=[("whole", "as they are written"), ("days", "reached by days")],
        required=False,
    )
    base = forms.MultipleChoiceField(
        label="Taken off receipts first",
        choices=[(one.value, one.value) for one in Off],
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )

    class Meta:
        model = Agreement
        fields = ("site", "starts_on", "ends_on", "rhythm", "note")
        widgets = {"starts_on": DayInput(), "ends_on": DayInput()}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["site"].queryset = Site.objects.filter(  # type: ignore[attr-defined]
            purpose=Site.Purpose.HOST
        )
        kept = self.instance.terms or {}
        shares = kept.get("shares", {})
        for code, label in (*CLASSES, ("", "everything else")):
            self.fields[f"share_{code}"] = figure(
                f"Percent of {label}", required=False, initial=shares.get(code)
            )
        self.fields["minimum"].initial = kept.get("minimum")
        self.fields["marginal"].initial = kept.get("marginal", True)
        self.fields["minimum_in_part"].initial = kept.get("minimum_in_part", "days")
        self.fields["steps_in_part"].initial = kept.get("steps_in_part", "whole")
        self.fields["base"].initial = kept.get("base", [])
        self.fields["steps"].initial = "\n".join(" ".join(pair) for pair in kept.get("steps", []))

    def clean_steps(self) -> list[list[str]]:
        found = []
        for number, line in enumerate(self.cleaned_data["steps"].splitlines(), start=1):
            parts = re.split(r"[\s;:]+", line.strip().removesuffix("%").strip())
            if parts == [""]:
                continue
            if len(parts) != 2:
                raise forms.ValidationError(f"line {number}: give an amount and a percent")
            found.append(parts)
        return found

    def _post_clean(self) -> None:
        """The action writes the row and judges it; the form only reads what was typed."""

    def changes(self) -> dict[str, Any]:
        given = self.cleaned_data
        shares = {
            name.removeprefix("share_"): str(value)
            for name, value in given.items()
            if name.startswith("share_") and value is not None
        }
        terms = {
            "shares": shares,
            "steps": given["steps"],
            "marginal": given["marginal"],
            "minimum": str(given["minimum"] or 0),
            "base": given["base"],
            "minimum_in_part": given["minimum_in_part"] or "days",
            "steps_in_part": given["steps_in_part"] or "whole",
        }
        return {name: given[name] for name in self.Meta.fields} | {"terms": terms}


class DayForm(forms.Form):
    day = forms.DateField(label="A day of the period", widget=DayInput())


class RunForm(DayForm):
    rhythm = forms.ChoiceField(choices=Agreement.Rhythm.choices)


class IssueForm(DayForm):
    digest = forms.CharField(widget=forms.HiddenInput)


class CorrectForm(forms.Form):
    amount = figure("More for the host, or less with a minus")
    reason = forms.CharField(max_length=300)


class PayForm(forms.Form):
    amount = figure("Paid", min_value=Decimal("0.01"))
    paid_on = forms.DateField(label="On", widget=DayInput())
    reference = forms.CharField(max_length=60, required=False)
