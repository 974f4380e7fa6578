"""What goes wrong outside a view of the API still answers as a problem, never as a page."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse, JsonResponse

from . import errors

KEPT = ("Allow", "Retry-After", "WWW-Authenticate")


class ProblemMiddleware:
    """Turns error pages under /api/ into problems: unknown addresses, bad hosts, faults of ours."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        if (
            not request.path.startswith("/api/")
            or response.status_code < 400
            or errors.is_problem(response)
        ):
            return response
        said = errors.SAID.get(
            response.status_code, errors.TITLES.get(response.status_code, response.reason_phrase)
        )
        problem = JsonResponse(
            errors.body(response.status_code, said, instance=request.path),
            status=response.status_code,
            content_type=errors.MEDIA_TYPE,
        )
        for name in KEPT:
            if name in response:
                problem[name] = response[name]
        return problem
