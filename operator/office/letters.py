"""Letters by e-mail that lead somebody to the desk."""

from django.conf import settings
from django.contrib.auth.tokens import default_token_generator
from django.core.mail import send_mail
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.encoding import force_bytes
from django.utils.http import urlsafe_base64_encode

from people.models import Business, Person


def password_link(person: Person, *, desk: str) -> str:
    """An address that lets its holder set this person's password once, for an hour.

    `desk` is where the desk is reached: `https://desk.example.org`.
    """
    address = reverse(
        "office:set-password",
        kwargs={
            "who": urlsafe_base64_encode(force_bytes(person.pk)),
            "key": default_token_generator.make_token(person),
        },
    )
    return desk + address


def send(person: Person, *, kind: str, desk: str) -> None:
    """Send the letter `office/letters/<kind>.txt`; its first line is the subject.

    Raises OSError when the mail server does not take it.
    """
    text = render_to_string(
        f"office/letters/{kind}.txt",
        {
            "person": person,
            "business": Business.the(),
            "link": password_link(person, desk=desk),
            "minutes": settings.PASSWORD_RESET_TIMEOUT // 60,
        },
    )
    subject, _, body = text.partition("\n")
    send_mail(subject.strip(), body.strip() + "\n", None, [person.email])
