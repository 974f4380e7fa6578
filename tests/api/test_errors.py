"""Every refusal is a problem (RFC 9457), wherever it arises, and tells nothing of the inside."""

from collections.abc import Callable
from typing import Any

import psycopg
import pytest
from django.db import IntegrityError, OperationalError, connection, transaction
from django.test import Client
from django.urls import include, path
from rest_framework.response import Response
from rest_framework.test import APIClient
from rest_framework.views import APIView

from api import errors
from config import urls as all_urls
from people.errors import NotAllowed, NotFound, Unable, Unacceptable
from people.models import DeviceToken, Person

pytestmark = pytest.mark.django_db
Refused = Callable[..., dict[str, Any]]


@pytest.mark.parametrize(
    "address", ["/api/", "/api/v1/no-such-noun", "/api/v1/machines/x", "/api/v2"]
)
def test_unknown_addresses(address: str, refused: Refused) -> None:
    body = refused(Client().get(address), 404, "not_found")
    assert body["instance"] == address


def test_other_addresses_keep_their_pages() -> None:
    assert "html" in Client().get("/no-such-page")["Content-Type"]


def test_a_method_that_is_not_for_the_address(as_owner: Any, refused: Refused) -> None:
    answer = as_owner.delete("/machines")
    refused(answer, 405, "method_not_allowed")
    assert "GET" in answer["Allow"]


def test_a_body_of_an_unknown_form(as_owner: Any, refused: Refused) -> None:
    answer = as_owner.client.post("/api/v1/packages", "<x/>", content_type="application/xml")
    refused(answer, 415)


def test_json_that_cannot_be_read(as_owner: Any, refused: Refused) -> None:
    for text in ('{"name": ', '{"name": NaN}', "[]", '"x"', "\ufeff{}"):
        answer = as_owner.client.post("/api/v1/packages", text, content_type="application/json")
        assert answer.status_code in {400, 422}
        refused(answer, answer.status_code)


def test_an_answer_in_a_form_that_is_not_given(as_owner: Any, refused: Refused) -> None:
    refused(as_owner.get("/machines", Accept="text/html"), 406)


def test_too_large(as_owner: Any, refused: Refused) -> None:
    body = b" " * (8 * 1024 * 1024 + 1)
    answer = as_owner.client.post("/api/v1/packages", body, content_type="application/json")
    assert "larger than 8 MiB" in refused(answer, 413)["detail"]


def raises(error: Exception) -> Any:
    class Faulty(APIView):
        permission_classes = ()

        def get(self, _request: Any) -> Response:
            raise error

    return Faulty.as_view()


def database_error(kind: type[Exception], cause: Exception) -> Exception:
    error = kind("inside: secret table")
    error.__cause__ = cause
    return error


FAULTS: dict[str, tuple[Exception, int, str]] = {
    "missing": (NotFound("there is no column 7"), 404, "not_found"),
    "not-allowed": (NotAllowed("you may see this"), 403, "not_allowed"),
    "unable": (Unable("the column is busy", code="column_busy"), 409, "column_busy"),
    "unacceptable": (
        Unacceptable("no", code="bad_gtin", fields={"lines.2.a/b": "no digit"}),
        422,
        "bad_gtin",
    ),
    "busy": (
        database_error(IntegrityError, psycopg.errors.DeadlockDetected("inside")),
        409,
        "busy",
    ),
    "rule": (
        database_error(IntegrityError, psycopg.errors.ExclusionViolation("inside")),
        409,
        "breaks_rule",
    ),
    "fault": (ZeroDivisionError("inside: secret"), 500, "failed"),
}


@pytest.fixture
def faulty(settings: Any) -> Client:
    faults = [path(f"faulty/{name}", raises(error)) for name, (error, *_) in FAULTS.items()]

    class Addresses:
        urlpatterns = [
            path("api/v1/", include((faults, "api"), namespace="faulty")),
            *all_urls.urlpatterns,
        ]

    settings.ROOT_URLCONF = Addresses
    return Client(raise_request_exception=False)


@pytest.mark.parametrize("name", FAULTS)
def test_what_the_business_and_the_database_refuse(
    name: str, faulty: Client, refused: Refused
) -> None:
    _, status, code = FAULTS[name]
    body = refused(faulty.get(f"/api/v1/faulty/{name}"), status, code)
    assert "secret" not in str(body)
    if name == "unacceptable":
        # RFC 6901, section 3: "/" is written ~1.
        assert body["errors"] == [
            {"pointer": "/lines/2/a~1b", "detail": "no digit", "code": "bad_gtin"}
        ]


def test_pointers() -> None:
    # RFC 6901, section 5: the keys "a/b" and "m~n".
    assert errors.pointer("a/b") == "/a~1b"
    assert errors.pointer("m~n") == "/m~0n"
    assert errors.pointer() == ""


def test_a_lock_that_does_not_come_free(transactional_db: None) -> None:
    """The very error that PostgreSQL raises is told as a 409, from a real second connection."""
    person = Person.objects.create(email="a@x.org", name="A")
    with psycopg.connect(**_second()) as other:
        other.execute("SELECT 1 FROM people_person WHERE id = %s FOR UPDATE", [person.pk])
        with connection.cursor() as cursor:
            cursor.execute("SET lock_timeout = '50ms'")
        with pytest.raises(OperationalError) as caught, transaction.atomic():
            list(Person.objects.select_for_update().filter(pk=person.pk))
        with connection.cursor() as cursor:
            cursor.execute("SET lock_timeout = '10s'")
    answer = errors.problem(caught.value, {})
    assert answer is not None, repr(caught.value)
    assert (answer.status_code, answer.data["code"]) == (409, "busy")


def _second() -> dict[str, Any]:
    given = connection.get_connection_params()
    return {
        name: given[name]
        for name in ("dbname", "user", "host", "port", "password")
        if name in given
    }


def test_too_many_requests(driver: Person, device: Any, settings: Any, refused: Refused) -> None:
    settings.REST_FRAMEWORK["DEFAULT_THROTTLE_RATES"]["person"] = "2/min"
    try:
        client: APIClient = device(driver)
        answers = [client.get("/api/v1/me") for _ in range(6)]
    finally:
        settings.REST_FRAMEWORK["DEFAULT_THROTTLE_RATES"]["person"] = "1200/min"
    # A window may have ended in between, so that two more passed.
    refused(answers[-1], 429, "too_many_requests")
    assert 1 <= int(answers[-1]["Retry-After"]) <= 60
    assert DeviceToken.objects.count() == 1
