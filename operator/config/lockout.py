"""Whose failures to sign in are counted together: one person's from one address."""

from collections.abc import Mapping
from typing import Any

from django.conf import settings
from django.http import HttpRequest


def username(request: HttpRequest, credentials: Mapping[str, Any] | None = None) -> str | None:
    """The e-mail in small letters, or each way to write its capitals would be tried anew."""
    given = credentials if credentials is not None else request.POST
    said = given.get(settings.AXES_USERNAME_FORM_FIELD)
    return None if said is None else str(said).strip().lower()


def address(request: HttpRequest) -> str | None:
    """Where the visitor calls from: behind a proxy what it says, and never what a visitor says.

    The proxy adds the address it sees at the end; what stands before came from outside.
    """
    seen = request.META.get("REMOTE_ADDR")
    if settings.PROXIES:
        said = request.META.get("HTTP_X_FORWARDED_FOR", "").split(",")[-1].strip()
        return said or seen
    return seen
