"""The request's id: from a well-formed header or made; on every log line and in the answer."""

import re
import time
import uuid
from collections.abc import Callable

import structlog
from django.http import HttpRequest, HttpResponse

log = structlog.get_logger(__name__)
HEADER = "X-Request-ID"
WELL_FORMED = re.compile(r"[A-Za-z0-9._-]{8,64}")
QUIET = ("/healthz", "/readyz", "/static/")
# The address of a calendar is its key; whoever reads the logs must not hold it.
SECRET_IN_PATH = re.compile(r"^(/calendar/)[^/]+")


class RequestIdMiddleware:
    """Binds `request_id` for the time of the request and logs one line when it ends."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        given = request.headers.get(HEADER, "")
        # A foreign id is only kept when it cannot break a log line or a header.
        request_id = given if WELL_FORMED.fullmatch(given) else uuid.uuid4().hex
        request.request_id = request_id  # type: ignore[attr-defined]
        started = time.perf_counter()
        with structlog.contextvars.bound_contextvars(request_id=request_id):
            response = self.get_response(request)
            if not request.path.startswith(QUIET):
                log.info(
                    "request",
                    method=request.method,
                    path=SECRET_IN_PATH.sub(r"\1…", request.path),
                    status=response.status_code,
                    took_ms=round((time.perf_counter() - started) * 1000, 1),
                    person=getattr(getattr(request, "user", None), "pk", None),
                )
        response[HEADER] = request_id
        return response
