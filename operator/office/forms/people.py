"""People of the business and its settings."""

from typing import Any

from django import forms

from people.models import Business, Person
from people.roles import Role

from .base import RowForm
from .shown import ShownForm


class PersonForm(ShownForm):
    name = forms.CharField(label="Name", max_length=100)
    email = forms.EmailField(label="E-mail")
    phone = forms.CharField(label="Phone", max_length=40, required=False)
    roles = forms.MultipleChoiceField(
        label="Roles",
        choices=Role.choices,
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="Without a role a person can sign in and sees only their own page.",
    )

    def __init__(self, *args: Any, person: Person | None = None, **kwargs: Any) -> None:
        if person is not None:
            kwargs["initial"] = {
                name: getattr(person, name) for name in ("name", "email", "phone", "roles")
            }
        super().__init__(*args, **kwargs)
        if person is not None:
            self.show(person, self.initial)


class ReasonForm(forms.Form):
    reason = forms.CharField(label="Why", max_length=300, required=False)


class BusinessForm(RowForm):
    model = Business
    columns = (
        "name",
        "units",
        "currency",
        "currency_exponent",
        "time_zone",
        "least_play_mm",
        "most_play_mm",
        "side_clearance_mm",
        "test_vends_asked",
    )
    labels = {
        "least_play_mm": "Least play (mm)",
        "most_play_mm": "Most play (mm)",
        "side_clearance_mm": "Side clearance (mm)",
        "test_vends_asked": "Test vends asked",
        "currency_exponent": "Decimal places of the currency",
    }

    def clean_currency(self) -> Any:
        return self.cleaned_data["currency"].upper()
