"""Who is asking: a device by its token, or a person by the desk's session."""

from django.utils import timezone
from rest_framework import authentication, exceptions
from rest_framework.request import Request

from people.actions import tokens
from people.models import DeviceToken, Person

REALM = 'Bearer realm="colonnade"'


class DeviceTokenAuthentication(authentication.BaseAuthentication):
    """`Authorization: Bearer <secret>` (RFC 6750). Only the secret's digest is ever looked up."""

    def authenticate(self, request: Request) -> tuple[Person, DeviceToken] | None:
        scheme, _, secret = request.headers.get("Authorization", "").partition(" ")
        if scheme.lower() != "bearer":
            return None
        token = tokens.holder(secret=secret.strip(), now=timezone.now())
        if token is None:
            raise exceptions.AuthenticationFailed(
                "this device token is unknown, expired or taken away"
            )
        return token.person, token

    def authenticate_header(self, request: Request) -> str:
        return REALM


class SessionAuthentication(authentication.SessionAuthentication):
    """The desk's own session; unsafe methods need the CSRF token."""
