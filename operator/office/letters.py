"""Letters by e-mail that lead somebody to the desk."""

from collections.abc import Callable

from django.conf import settings
from django.contrib.auth.tokens import default_token_generator
from django.core.mail import send_mail
from django.http import HttpRequest
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.encoding import force_bytes
from django.utils.http import urlsafe_base64_encode

from people.models import Business, Person


def password_link(person: Person, request: HttpRequest) -> str:
    """An address that lets its holder set this person's password once, for an hour."""
    address = reverse(
        "office:set-password",
        kwargs={
            "who": urlsafe_base64_encode(force_bytes(person.pk)),
            "key": default_token_generator.make_token(person),
        },
    )
    return request.build_absolute_uri(address)


def password_letter(request: HttpRequest, *, kind: str) -> Callable[[Person], None]:
    """Sends the letter `office/letters/<kind>.txt`; its first line is the subject."""

    def send(person: Person) -> None:
        text = render_to_string(
            f"office/letters/{kind}.txt",
            {
                "person": person,
                "business": Business.the(),
                "link": password_link(person, request),
                "minutes": settings.PASSWORD_RESET_TIMEOUT // 60,
            },
        )
        subject, _, body = text.partition("\n")
        send_mail(subject.strip(), body.strip() + "\n", None, [person.email])

    return send
