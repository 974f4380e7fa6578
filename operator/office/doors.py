"""How the desk passes on what the business refuses: beside the field, or as a page of its own."""

from collections.abc import Callable
from functools import wraps
from typing import Any

from django import forms
from django.core.exceptions import NON_FIELD_ERRORS, PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.cache import patch_vary_headers

from people.errors import NotAllowed, NotFound, Unable, Unacceptable
from people.exports import Format, Table, as_file
from people.models import Person
from people.refused import in_words

View = Callable[..., HttpResponse]


class PersonRequest(HttpRequest):
    """A request that the policy let in: somebody is signed in."""

    user: Person


# htmx swaps what comes back with this status in, and everything else may treat it as refused.
REFUSED = 422
CONFLICT = 409
# Codes of what somebody else did, so that the same input may be right another time.
CONFLICTS = ("changed_meanwhile", "busy", "breaks_rule")


def door(view: View) -> View:
    """A view whose refusals become pages: missing 404, not allowed 403, else 409 or 422.

    So does what the database refuses: a lock that somebody else holds, a rule that would break.
    """

    @wraps(view)
    def opened(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        try:
            with in_words():
                return view(request, *args, **kwargs)
        except NotFound as error:
            raise Http404(error.message) from error
        except NotAllowed as error:
            raise PermissionDenied(error.message) from error
        except Unable as error:
            status = REFUSED if isinstance(error, Unacceptable) else CONFLICT
            return render(request, "office/refused.html", {"error": error}, status=status)

    return opened


def tried(form: forms.BaseForm, action: Callable[..., Any], **given: Any) -> Any:
    """Call an action; what it refuses is written beside the form's fields, and None comes back.

    Every action answers with a row, so None always means refused.
    """
    try:
        with in_words():
            return action(**given)
    except NotAllowed:
        raise
    except Unable as error:
        tell(form, error)
        return None


def tell(form: forms.BaseForm, error: Unable) -> None:
    """Write a refusal beside the fields it names; what names none stands above the form."""
    fields = error.fields if isinstance(error, Unacceptable) else {}
    for name, message in fields.items():
        # An action names what it was given as a path (`as_left.price`); a form has its last part.
        first, last = name.partition(".")[0], name.rpartition(".")[2]
        asked = (name, last, getattr(form, "stands_for", {}).get(first))
        form.add_error(next((one for one in asked if one in form.fields), None), message)
    if not fields:
        form.add_error(None, forms.ValidationError(error.message, code=error.code))


def sent_as_file(request: HttpRequest, table: Table) -> HttpResponse:
    """A table as the file that `?as=` names; CSV unless it says otherwise. Raises Unacceptable."""
    file = as_file(table, request.GET.get("as", Format.CSV))
    return HttpResponse(file.content, content_type=file.media_type, headers=file.headers)


def desk_of(request: HttpRequest) -> str:
    """Where this person reaches the desk, for links in letters: `https://desk.example.org`."""
    return request.build_absolute_uri("/").removesuffix("/")


def part_or_page(
    request: HttpRequest, part: str, page: str, context: dict[str, Any]
) -> HttpResponse:
    """The part alone for a request of htmx, else the whole page; a cache keeps the two apart."""
    response = render(request, part if asks_for_part(request) else page, context)
    patch_vary_headers(response, ["HX-Request"])
    return response


def asks_for_part(request: HttpRequest) -> bool:
    return bool(request.headers.get("HX-Request"))


def sent(*shown: forms.BaseForm) -> int:
    """The status of a page that shows forms again: refused once something is wrong with one.

    A form that somebody else's change stands in the way of makes it 409.
    """
    wrong = [form for form in shown if form.is_bound and form.errors]
    if any(form.has_error(NON_FIELD_ERRORS, code) for form in wrong for code in CONFLICTS):
        return CONFLICT
    return REFUSED if wrong else 200
