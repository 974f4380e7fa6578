"""Signing in, and one's own password."""

from typing import Any

from django import forms
from django.contrib.auth.forms import AuthenticationForm


class SignInForm(AuthenticationForm):
    """E-mail and password. The same words refuse a wrong e-mail and a wrong password."""

    error_messages = {
        "invalid_login": "This e-mail and password do not belong together. After five failures the "
        "door stays shut for a quarter of an hour.",
        "inactive": "This e-mail and password do not belong together.",
    }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["username"].label = "E-mail"
        self.fields["username"].widget = forms.EmailInput(
            attrs={"autocomplete": "username", "autofocus": True}
        )

    def clean_username(self) -> str:
        # In small letters, or each way to write the capitals would have failures of its own.
        return str(self.cleaned_data["username"]).strip().lower()


class PasswordForm(forms.Form):
    """A new password, twice."""

    password = forms.CharField(
        label="New password",
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        help_text="At least ten characters; a few words are easier to keep than a few signs.",
    )
    again = forms.CharField(
        label="Once more",
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        if given.get("password") and given.get("again") and given["password"] != given["again"]:
            self.add_error("again", "The two differ.")
        return given


class OwnPasswordForm(PasswordForm):
    """A new password from somebody who knows the old one."""

    field_order = ["old", "password", "again"]
    old = forms.CharField(
        label="Password now",
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )

    def __init__(self, *args: Any, person: Any, **kwargs: Any) -> None:
        self.person = person
        super().__init__(*args, **kwargs)

    def clean_old(self) -> str:
        old = str(self.cleaned_data["old"])
        if not self.person.check_password(old):
            raise forms.ValidationError("This is not your password.")
        return old


class EmailForm(forms.Form):
    email = forms.EmailField(
        label="E-mail", widget=forms.EmailInput(attrs={"autocomplete": "username"})
    )


class TokenForm(forms.Form):
    name = forms.CharField(label="Which device carries it", max_length=60)
    days = forms.IntegerField(label="Good for days", initial=180, min_value=1)
