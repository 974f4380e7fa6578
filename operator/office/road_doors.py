"""A driver's pages as they are shown, and an act as it is answered, to a script or as a page.

An act sent by script is answered as JSON, so that a queue in the browser can send it late.
"""

from collections.abc import Callable
from typing import Any, TypeVar

from django.contrib import messages
from django.http import HttpResponse, JsonResponse
from django.shortcuts import render
from django.utils import timezone

from people.errors import NotFound, Unable
from people.refused import in_words

from .doors import PersonRequest, sent, tell
from .forms.acts import ActForm
from .forms.road_columns import ColumnsForm

Answer = TypeVar("Answer", bound=Any)
"""Of runs or of tickets: both have a result that tells the flags of the act."""
MOST_NAMED = 3


def road_page(
    request: PersonRequest, template: str, context: dict[str, Any], *, status: int = 200
) -> HttpResponse:
    # A page tells when it was made: the browser may show it again much later, without a signal.
    return render(request, template, {**context, "made_at": timezone.now()}, status=status)


def carry_out(request: PersonRequest, form: ActForm, do: Callable[..., Answer]) -> Answer | None:
    """The act's answer, or None with what refuses it beside the inputs it means."""
    now = timezone.now()
    try:
        with in_words():
            answer = do(sent=form.sent(now), actor=request.user, now=now)
    except NotFound:
        raise
    except Unable as error:
        fields = getattr(error, "fields", {})
        if isinstance(form, ColumnsForm) and fields:
            for place, message in fields.items():
                form.add_error(form.name_of(place), message)
        else:
            tell(form, error)
        return None
    if not by_script(request):
        for flag in answer.result["flags"]:
            messages.warning(request, f"{form.said}: {flag['said']}.")
    return answer


def by_script(request: PersonRequest) -> bool:
    return request.headers.get("Accept") == "application/json"


def as_answer(*shown: Any) -> JsonResponse:
    """What a queue in the browser is told; refused, with every message and the input it means."""
    wrong = [form for form in shown if form.is_bound and form.errors]
    if not wrong:
        return JsonResponse({"done": True})
    said: dict[str, list[str]] = {}
    for form in wrong:
        for name, errors in form.errors.items():
            label = str(form.fields[name].label) if name in form.fields else ""
            for error in errors:
                said.setdefault(str(error), []).extend([label] if label else [])
    return JsonResponse(
        {"done": False, "said": [_of(*one) for one in said.items()]}, status=sent(*wrong)
    )


def _of(error: str, labels: list[str]) -> str:
    """A message with what it is said of; of many the first few, for a phone shows no more."""
    if len(labels) > MOST_NAMED + 1:
        labels = [*labels[:MOST_NAMED], f"{len(labels) - MOST_NAMED} more"]
    return f"{', '.join(labels)}: {error}" if labels else error
