"""The policy at the office's doors.

The API asks the same table after it has read the device token.
"""

from collections.abc import Callable
from typing import Any

from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import Resolver404, resolve

from . import policy
from .models import Person


class PolicyMiddleware:
    """Refuses every view that no row of the policy opens for this person."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(
        self, request: HttpRequest, _view: Any, _args: tuple[Any, ...], _kwargs: dict[str, Any]
    ) -> HttpResponse | HttpResponseRedirect | None:
        match = request.resolver_match
        if match is None or "api" in match.app_names:
            return None  # api.permissions.PolicyPermission asks, once the token is read
        row = policy.row_for(request.method or "", match.view_name)
        if policy.allows(request.user, row):
            return None
        if (
            row is not None
            and not request.user.is_authenticated
            and request.method in {"GET", "HEAD"}
        ):
            return redirect_to_login(request.get_full_path())
        if row is None and request.method in {"GET", "HEAD"} and request.user.is_authenticated:
            page = _page_of(request, match.view_name)
            if page:
                return HttpResponseRedirect(page)
        raise PermissionDenied


def _page_of(request: HttpRequest, route: str) -> str:
    """The page whose form goes to an address that itself shows nothing, or nothing.

    A form that was refused leaves the browser at that address; who asks for it again by reloading
    or by a bookmark gets the form's page, and not a word about roles.
    """
    if not policy.allows(request.user, policy.row_for("POST", route)):
        return ""
    parts = request.path.strip("/").split("/")
    for last in range(len(parts) - 1, 0, -1):
        page = f"/{'/'.join(parts[:last])}/"
        try:
            found = resolve(page)
        except Resolver404:
            continue
        if policy.allows(request.user, policy.row_for("GET", found.view_name)):
            return page
    return ""


class SignedInRequest(HttpRequest):
    """A request that the policy has let in by a row that is not for the public: somebody sent it.

    For the annotations of views, so that the checker knows what the table has made sure of.
    """

    user: Person
