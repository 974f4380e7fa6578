"""How the desk passes on what the business refuses: beside the field, or as a page of its own."""

from collections.abc import Callable
from functools import wraps
from typing import Any

from django import forms
from django.core.exceptions import PermissionDenied
from django.db import DatabaseError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.cache import patch_vary_headers

from people.errors import NotAllowed, NotFound, Unable, Unacceptable
from people.models import Person
from people.refused import refusal_of

View = Callable[..., HttpResponse]


class PersonRequest(HttpRequest):
    """A request that the policy let in: somebody is signed in."""

    user: Person


# htmx swaps what comes back with this status in, and everything else may treat it as refused.
REFUSED = 422


def door(view: View) -> View:
    """A view whose refusals become pages: missing 404, not allowed 403, else 409 or 422.

    So does what the database refuses: a lock that somebody else holds, a rule that would break.
    """

    @wraps(view)
    def opened(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        try:
            return view(request, *args, **kwargs)
        except NotFound as error:
            raise Http404(error.message) from error
        except NotAllowed as error:
            raise PermissionDenied(error.message) from error
        except Unable as error:
            status = REFUSED if isinstance(error, Unacceptable) else 409
            return render(request, "office/refused.html", {"error": error}, status=status)
        except DatabaseError as error:
            refusal = refusal_of(error)
            if refusal is None:
                raise
            return render(request, "office/refused.html", {"error": refusal}, status=409)

    return opened


def tried(form: forms.BaseForm, action: Callable[..., Any], **given: Any) -> Any:
    """Call an action; what it refuses is written beside the form's fields, and None comes back.

    Every action answers with a row, so None always means refused.
    """
    try:
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
        form.add_error(None, error.message)


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


def sent(form: forms.BaseForm) -> int:
    """The status of a page that shows a form again: refused once something is wrong with it."""
    return REFUSED if form.is_bound and form.errors else 200
