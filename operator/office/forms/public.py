"""What a customer fills in on the page behind a sticker."""

from decimal import Decimal
from typing import Any

from django import forms
from django.core.validators import DecimalValidator
from django.db.models import Prefetch

from fleet.machines.models import Machine, Selection, SetUp
from people.models import Business
from service.tickets.actions.public import LONGEST, OFFERED, Said
from service.tickets.models import Refund, Symptom, Ticket
from service.tickets.pictures import LARGEST_BYTES

METHODS = {
    Refund.Method.CASH: "In cash, at the desk of the house where the machine stands",
    Refund.Method.PHONE: "To my phone",
    Refund.Method.POST: "By post",
}
PAID = [
    ("coins", "Coins"),
    ("notes", "Notes"),
    ("card", "Card"),
    ("phone", "Phone"),
    ("free", "I did not pay"),
    ("", "I would rather not say"),
]


class SymptomChoice(forms.ModelChoiceField):
    def label_from_instance(self, symptom: Any) -> str:
        return str(symptom.public_words)


class SelectionChoice(forms.ModelChoiceField):
    def label_from_instance(self, selection: Any) -> str:
        """The button as a customer knows it: its code and what it sells now."""
        sold = {
            set_up.product.name
            for column in selection.columns.all()
            for set_up in column.set_ups.all()
        }
        return f"{selection.code} · {' or '.join(sorted(sold))}" if sold else str(selection.code)


class ReportForm(forms.Form):
    """What happened, at which button, what to give back, and where to answer."""

    use_required_attribute = False  # a browser's own refusals are not in our words

    symptom = SymptomChoice(
        queryset=Symptom.objects.none(),
        label="What is wrong?",
        widget=forms.RadioSelect,
        empty_label=None,
        error_messages={"required": "Choose what comes nearest."},
    )
    selection = SelectionChoice(
        queryset=Selection.objects.none(),
        label="Which button?",
        required=False,
        empty_label="None, or I do not remember",
    )
    words = forms.CharField(
        label="Anything else that helps us find it",
        required=False,
        max_length=LONGEST,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="Please no names or numbers here.",
    )
    paid_how = forms.ChoiceField(
        label="How did you pay?",
        required=False,
        choices=PAID,
        widget=forms.RadioSelect,
        initial="",
    )
    amount = forms.DecimalField(
        label="How much do you want back?",
        required=False,
        min_value=Decimal("0.01"),
        max_digits=8,
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
        help_text="Leave it empty when you want nothing back.",
        error_messages={"invalid": "Write the amount in figures, as in 1.75."},
    )
    method = forms.ChoiceField(
        label="How do you want it back?",
        required=False,
        choices=[("", "Nothing back"), *((one, METHODS[one]) for one in OFFERED)],
    )
    contact_name = forms.CharField(
        label="Your name",
        required=False,
        max_length=100,
        widget=forms.TextInput(attrs={"autocomplete": "name"}),
    )
    contact_reach = forms.CharField(
        label="Where we reach you",
        required=False,
        max_length=200,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
        help_text="A telephone number, an e-mail or an address.",
    )
    photo = forms.FileField(
        label="A photo",
        required=False,
        widget=forms.FileInput(attrs={"accept": "image/jpeg,image/png,image/webp"}),
        help_text="JPEG, PNG or WebP, up to 5 MB. Where and when it was taken is removed from it.",
    )
    # People do not see it; what fills in everything it finds is no person.
    leave_empty = forms.CharField(
        label="Leave this empty",
        required=False,
        widget=forms.TextInput(attrs={"autocomplete": "off", "tabindex": "-1"}),
    )

    def __init__(self, *args: Any, machine: Machine, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        asked = Symptom.objects.filter(active=True).exclude(public_words="")
        self.fields["symptom"].queryset = asked  # type: ignore[attr-defined]
        now = SetUp.objects.filter(ends_at__isnull=True).select_related("product")
        buttons = Selection.objects.filter(machine=machine)
        self.fields["selection"].queryset = buttons.prefetch_related(  # type: ignore[attr-defined]
            Prefetch("columns__set_ups", queryset=now)
        )
        business = Business.the()
        amount = self.fields["amount"]
        amount.validators.append(DecimalValidator(8, business.currency_exponent))
        amount.label = f"{amount.label} ({business.currency})"

    def clean_leave_empty(self) -> str:
        if self.cleaned_data["leave_empty"]:
            raise forms.ValidationError("Leave this empty; it tells people from programs.")
        return ""

    def clean_photo(self) -> Any:
        photo = self.cleaned_data["photo"]
        if photo is not None and photo.size > LARGEST_BYTES:
            raise forms.ValidationError("This photo is larger than 5 MB; send a smaller one.")
        return photo

    def said(self) -> Said:
        """What was filled in, for the action."""
        given = self.cleaned_data
        photo = given["photo"]
        return Said(
            symptom=given["symptom"],
            selection=given["selection"],
            paid_how=given["paid_how"] or Ticket.Paid.UNKNOWN,
            words=given["words"],
            amount=given["amount"],
            method=given["method"] if given["amount"] is not None else "",
            contact_name=given["contact_name"],
            contact_reach=given["contact_reach"],
            photo=None if photo is None else (photo.name, photo.read()),
        )


class LookForm(forms.Form):
    use_required_attribute = False

    reference = forms.CharField(
        label="Reference",
        max_length=40,
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters"}),
        help_text="Eight letters and digits, as the page showed them.",
        error_messages={"required": "Write the reference of your report."},
    )
