"""Signing in and out, passwords, and one's own page."""

from typing import Any

from django.contrib import messages
from django.contrib.auth import logout, update_session_auth_hash
from django.contrib.auth.tokens import default_token_generator
from django.contrib.auth.views import LoginView
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.decorators import method_decorator
from django.utils.http import urlsafe_base64_decode
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters

from office import tasks
from office.doors import PersonRequest, desk_of, sent, tried
from office.forms.account import EmailForm, OwnPasswordForm, PasswordForm, SignInForm, TokenForm
from people.actions import people, tokens
from people.models import Person
from people.queries import token_for

SESSION_KEY = "set-password-key"
IN_ADDRESS = "now"


class SignIn(LoginView):
    template_name = "office/account/sign_in.html"
    authentication_form = SignInForm
    redirect_authenticated_user = True

    @method_decorator(never_cache)
    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        return super().dispatch(request, *args, **kwargs)


def sign_out(request: HttpRequest) -> HttpResponse:
    logout(request)
    return redirect("office:sign-in")


def forgotten(request: HttpRequest) -> HttpResponse:
    """Have a link sent by e-mail. Neither the answer nor its time tells which e-mails are known."""
    form = EmailForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        tasks.forgotten.delay(form.cleaned_data["email"], desk_of(request))
        return render(request, "office/account/letter_sent.html")
    return render(request, "office/account/forgotten.html", {"form": form}, status=sent(form))


@sensitive_post_parameters()
@never_cache
def set_password(request: HttpRequest, who: str, key: str) -> HttpResponse:
    """Set a password with the key from a letter.

    The key moves from the address into the session first, so that no referrer or history shows it.
    """
    person = _addressed(who)
    if key != IN_ADDRESS:
        if person is None or not default_token_generator.check_token(person, key):
            return render(request, "office/account/link_spent.html", status=410)
        request.session[SESSION_KEY] = key
        return redirect("office:set-password", who=who, key=IN_ADDRESS)
    kept = request.session.get(SESSION_KEY, "")
    if person is None or not default_token_generator.check_token(person, kept):
        return render(request, "office/account/link_spent.html", status=410)
    form = PasswordForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        done = tried(
            form,
            people.set_password,
            person=person,
            password=form.cleaned_data["password"],
            actor=person,
            now=timezone.now(),
        )
        if done:
            del request.session[SESSION_KEY]
            messages.success(request, "Your password is set. Sign in with it.")
            return redirect("office:sign-in")
    context = {"form": form, "person": person}
    return render(request, "office/account/set_password.html", context, status=sent(form))


@never_cache
def own_page(request: PersonRequest) -> HttpResponse:
    """What a person may do with their own account: the password, and the devices they carry."""
    return _own_page(request, OwnPasswordForm(person=request.user), TokenForm())


@sensitive_post_parameters()
def change_password(request: PersonRequest) -> HttpResponse:
    form = OwnPasswordForm(request.POST, person=request.user)
    if form.is_valid() and tried(
        form,
        people.set_password,
        person=request.user,
        password=form.cleaned_data["password"],
        actor=request.user,
        now=timezone.now(),
    ):
        # Other sessions of this person end; this one goes on.
        update_session_auth_hash(request, request.user)
        messages.success(request, "Your password is changed. Other sign-ins of yours have ended.")
        return redirect("office:own-page")
    return _own_page(request, form, TokenForm())


@never_cache
def make_token(request: PersonRequest) -> HttpResponse:
    """Make a device token and show its secret, this once."""
    form = TokenForm(request.POST)
    if form.is_valid():
        made = tried(
            form,
            tokens.issue,
            person=request.user,
            name=form.cleaned_data["name"],
            days=form.cleaned_data["days"],
            actor=request.user,
            now=timezone.now(),
        )
        if made:
            token, secret = made
            return render(request, "office/account/secret.html", {"token": token, "secret": secret})
    return _own_page(request, OwnPasswordForm(person=request.user), form)


def revoke_token(request: PersonRequest, pk: int) -> HttpResponse:
    """Take a token away; its holder and owners may."""
    token = token_for(request.user, pk, write=True)
    tokens.revoke(
        token=token, actor=request.user, now=timezone.now(), reason=request.POST.get("reason", "")
    )
    messages.success(request, f"{token.name}: the token opens nothing any more.")
    if token.person_id == request.user.pk:
        return redirect("office:own-page")
    return redirect("office:person", token.person_id)


def _own_page(
    request: PersonRequest, password_form: OwnPasswordForm, token_form: TokenForm
) -> HttpResponse:
    context = {
        "password_form": password_form,
        "token_form": token_form,
        "tokens": request.user.device_tokens.select_related("revoked_by"),
        "now": timezone.now(),
    }
    status = sent(password_form, token_form)
    return render(request, "office/account/own_page.html", context, status=status)


def _addressed(who: str) -> Person | None:
    try:
        pk = int(urlsafe_base64_decode(who).decode())
    except (ValueError, OverflowError, ValidationError):
        return None
    return Person.objects.filter(pk=pk, is_active=True).first()
