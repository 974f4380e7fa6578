"""Every refusal of the API as `application/problem+json` (RFC 9457).

`code` is stable and meant for programs; `detail` is meant for people. Each entry of `errors` names
the place in the body by JSON pointer (RFC 6901), or the query parameter or header. What went wrong
inside the service is logged and never told.
"""

from collections.abc import Iterable, Mapping
from typing import Any

import structlog
from django.conf import settings
from django.core.exceptions import PermissionDenied, RequestDataTooBig
from django.db import DatabaseError
from django.http import Http404
from rest_framework import exceptions, status
from rest_framework.response import Response

from people.errors import NotAllowed, NotFound, Unable, Unacceptable
from people.refused import refusal_of

log = structlog.get_logger(__name__)
MEDIA_TYPE = "application/problem+json"
TYPE = "urn:colonnade:problem:"
"""What `type` begins with; the code follows."""

TITLES = {
    400: "The request cannot be understood",
    401: "Not signed in",
    403: "Not allowed",
    404: "Not found",
    405: "The method is not for this address",
    406: "The answer cannot be given in that form",
    409: "Not possible as things stand",
    412: "Changed meanwhile",
    413: "Too large",
    415: "The form of the body is not known here",
    422: "Not acceptable input",
    428: "A condition is required",
    429: "Too many requests",
    500: "The service failed",
    503: "The service is not ready",
}
CODES = {
    400: "bad_request",
    401: "not_signed_in",
    403: "not_allowed",
    404: "not_found",
    405: "method_not_allowed",
    406: "not_acceptable",
    409: "unable",
    412: "changed_meanwhile",
    413: "too_large",
    415: "unsupported_media_type",
    422: "unacceptable",
    428: "condition_required",
    429: "too_many_requests",
    500: "failed",
    503: "not_ready",
}


class Refused(exceptions.APIException):
    """A refusal that the REST layer itself makes, with its status, code and places."""

    def __init__(
        self,
        status_code: int,
        detail: str,
        *,
        code: str | None = None,
        errors: Iterable[Mapping[str, str]] = (),
        headers: Mapping[str, str] | None = None,
    ) -> None:
        super().__init__(detail)
        self.status_code = status_code
        self.code = code or CODES[status_code]
        self.errors = [dict(one) for one in errors]
        self.headers = dict(headers or {})


def pointer(*parts: object) -> str:
    """A JSON pointer into the body; dotted names are taken apart (`lines.0.product`)."""
    steps = [step for part in parts for step in str(part).split(".") if step]
    return "".join("/" + step.replace("~", "~0").replace("/", "~1") for step in steps)


def body(
    status_code: int,
    detail: str,
    *,
    code: str | None = None,
    errors: Iterable[Mapping[str, str]] = (),
    instance: str = "",
) -> dict[str, Any]:
    """The members of a problem."""
    code = code or CODES.get(status_code, "refused")
    found = {
        "type": TYPE + code.replace("_", "-"),
        "title": TITLES.get(status_code, "Refused"),
        "status": status_code,
        "detail": detail,
        "code": code,
    }
    if instance:
        found["instance"] = instance
    listed = [dict(one) for one in errors]
    return {**found, "errors": listed} if listed else found


def problem(error: Exception, context: Mapping[str, Any]) -> Response | None:
    """The exception handler of every API view. None leaves a fault of ours to be logged as such."""
    request = context.get("request")
    told = _of_the_address(error, context.get("view")) or _told(error)
    if told is None:
        return None
    status_code, detail, code, errors, headers = told
    return Response(
        body(status_code, detail, code=code, errors=errors, instance=getattr(request, "path", "")),
        status=status_code,
        headers=headers,
        content_type=MEDIA_TYPE,
    )


Told = tuple[int, str, str | None, list[dict[str, str]], dict[str, str]]


def _told(error: Exception) -> Told | None:
    match error:
        case Refused():
            return error.status_code, str(error.detail), error.code, error.errors, error.headers
        case NotFound():
            return 404, error.message, error.code, [], {}
        case NotAllowed():
            return 403, error.message, error.code, [], {}
        case Unacceptable():
            places = [
                {"pointer": pointer(name), "detail": text, "code": error.code}
                for name, text in error.fields.items()
            ]
            return 422, error.message, error.code, places, {}
        case Unable():
            return 409, error.message, error.code, [], {}
        case Http404():
            return 404, "there is nothing at this address", None, [], {}
        case PermissionDenied():
            return 403, "you may not do this", None, [], {}
        case RequestDataTooBig():
            most = settings.DATA_UPLOAD_MAX_MEMORY_SIZE // 2**20
            return 413, f"the body is larger than {most} MiB, the most that is taken", None, [], {}
        case exceptions.APIException():
            return _of_the_framework(error)
        case DatabaseError():
            return _of_the_database(error)
    return None


def _of_the_framework(error: exceptions.APIException) -> Told:
    headers: dict[str, str] = {}
    if realm := getattr(error, "auth_header", None):
        headers["WWW-Authenticate"] = realm
    match error:
        case exceptions.ValidationError():
            places = list(_places(error.detail))
            said = "; ".join(f"{one['pointer'] or 'body'}: {one['detail']}" for one in places)
            return 422, said, "unacceptable", places, headers
        case exceptions.ParseError():
            return 400, str(error.detail), "malformed", [], headers
        case exceptions.AuthenticationFailed():
            # RFC 6750, section 3.1: what was shown opens nothing.
            named = {"WWW-Authenticate": f'{realm or "Bearer"}, error="invalid_token"'}
            return 401, str(error.detail), "bad_token", [], named
        case exceptions.NotAuthenticated():
            detail = "send a device token (Authorization: Bearer …) or sign in at the desk"
            return 401, detail, None, [], headers
        case exceptions.Throttled():
            wait = max(1, round(getattr(error, "wait", None) or 1))
            return 429, f"try again in {wait} s", None, [], {**headers, "Retry-After": str(wait)}
    return error.status_code, str(error.detail), CODES.get(error.status_code), [], headers


def _of_the_address(error: Exception, view: Any) -> Told | None:
    """What an address does not take, with what it takes."""
    match error:
        case exceptions.MethodNotAllowed():
            method = getattr(getattr(view, "request", None), "method", None) or "this method"
            takes = ", ".join(one for one in view.allowed_methods if one != "OPTIONS")
            detail = f"this address does not take {method}; it takes {takes}"
        case exceptions.UnsupportedMediaType():
            forms = [one.media_type for one in view.get_parsers()]
            listed = " or ".join([", ".join(forms[:-1]), forms[-1]] if forms[1:] else forms)
            came = view.request.content_type or "no stated form"
            detail = f"a body of {came} cannot be read here; send {listed}"
        case exceptions.NotAcceptable():
            forms = sorted({one.media_type for one in view.get_renderers()})
            detail = f"this address answers in {' or '.join(forms)}"
        case _:
            return None
    return error.status_code, detail, CODES[error.status_code], [], {}


def _of_the_database(error: DatabaseError) -> Told | None:
    refusal = refusal_of(error)
    if refusal is None:
        return None
    headers = {"Retry-After": "1"} if refusal.code == "busy" else {}
    return 409, refusal.message, refusal.code, [], headers


def _places(detail: Any, *path: object) -> Iterable[dict[str, str]]:
    if isinstance(detail, Mapping):
        for name, inner in detail.items():
            steps = path if name == "non_field_errors" else (*path, name)
            yield from _places(inner, *steps)
    elif isinstance(detail, list) and detail and isinstance(detail[0], (Mapping, list)):
        for index, inner in enumerate(detail):
            yield from _places(inner, *path, index)
    elif isinstance(detail, list):
        for inner in detail:
            yield from _places(inner, *path)
    else:
        code = str(getattr(detail, "code", None) or "invalid")
        yield {"pointer": pointer(*path), "detail": str(detail), "code": code}


def is_problem(response: Any) -> bool:
    return str(response.get("Content-Type", "")).startswith(MEDIA_TYPE)


UNKNOWN_ADDRESS = "there is nothing at this address; see /api/v1/docs for what there is"
FAILED = "the service failed; the log has the details under the request id in X-Request-ID"
SAID: Mapping[int, str] = {
    status.HTTP_404_NOT_FOUND: UNKNOWN_ADDRESS,
    status.HTTP_500_INTERNAL_SERVER_ERROR: FAILED,
}
