"""The committed description is the one that the doors give, and is a valid OpenAPI document."""

import inspect
import re
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
import yaml
from django.conf import settings
from django.core.management import call_command
from django.test import Client

from api import pagination
from api.doors import Doors
from api.shapes import RowShape, Shape, Strict
from api.v1.description import described
from people import policy

COMMITTED = Path(__file__).resolve().parents[2] / "api" / "v1" / "openapi.yaml"
WRITTEN = "\n".join(
    path.read_text()
    for path in sorted((COMMITTED.parents[1]).rglob("*.py"))
    if "about" not in path.name
)
"""The code of the API, in which every code of a refusal stands."""


def operations(document: dict[str, Any]) -> list[tuple[str, str, dict[str, Any]]]:
    return [
        (path, method, operation)
        for path, methods in document["paths"].items()
        for method, operation in methods.items()
    ]


def test_the_committed_description_is_up_to_date() -> None:
    out = StringIO()
    call_command("spectacular", "--fail-on-warn", "--validate", stdout=out)
    assert out.getvalue() == COMMITTED.read_text(), (
        "run: python manage.py spectacular --file api/v1/openapi.yaml"
    )


def test_every_operation_says_what_it_refuses_and_who_may_ask() -> None:
    document = yaml.safe_load(COMMITTED.read_text())
    assert document["openapi"] == "3.1.1"
    for path, method, operation in operations(document):
        where = f"{method} {path}"
        responses = operation["responses"]
        assert operation["summary"], where
        assert {"400", "401", "403", "429"} <= responses.keys(), where
        assert ("404" in responses) == ("{" in path), where
        if method != "get":
            assert {"409", "413", "415", "422"} <= responses.keys(), where
        if method in {"patch", "delete"}:
            assert {"412", "428"} <= responses.keys(), where
            names = {one["name"] for one in operation["parameters"] if one.get("required")}
            assert "If-Match" in names, where
        for status, response in responses.items():
            if status.startswith("4"):
                assert response == {"$ref": f"#/components/responses/Problem{status}"}, where


def test_only_signing_in_needs_no_one_signed_in() -> None:
    open_doors = [
        (method, path)
        for path, method, operation in operations(yaml.safe_load(COMMITTED.read_text()))
        if not operation.get("security")
    ]
    assert open_doors == [("post", "/api/v1/tokens")]
    row = policy.row_for("POST", "api:token-list")
    assert row is not None
    assert row.who is policy.Anyone.PUBLIC


def test_what_must_not_happen_twice_needs_a_key() -> None:
    document = yaml.safe_load(COMMITTED.read_text())
    needing = {
        path.removeprefix("/api/v1")
        for path, _, operation in operations(document)
        for one in operation.get("parameters", [])
        if one["name"] == "Idempotency-Key" and one.get("required")
    }
    assert needing == {
        "/changeovers/{id}/take",
        "/changeovers/{id}/complete",
        "/changeovers/{id}/abandon",
        "/stock-movements/transfers",
        "/stock-movements/waste",
        "/stock-movements/{id}/correct",
        "/stock-counts",
        "/orders",
        "/orders/suggested",
        "/orders/{id}/place",
        "/orders/{id}/cancel",
        "/receipts",
        "/receipts/{id}/take-back",
        "/day-plans/{id}/agree",
        "/day-plans/{id}/drop",
        "/road/runs/{id}/pick",
        "/road/runs/{id}/start",
        "/road/runs/{id}/end",
        "/road/stops/{id}/arrive",
        "/road/stops/{id}/read",
        "/road/stops/{id}/count",
        "/road/stops/{id}/remove",
        "/road/stops/{id}/fill",
        "/road/stops/{id}/change-over",
        "/road/stops/{id}/bag",
        "/road/stops/{id}/leave",
        "/road/stops/{id}/skip",
        "/road/machines/{id}/report",
        "/road/tickets/{id}/take",
        "/road/tickets/{id}/hand-back",
        "/road/tickets/{id}/on-site",
        "/road/tickets/{id}/wait",
        "/road/tickets/{id}/resume",
        "/road/tickets/{id}/note",
        "/road/tickets/{id}/close",
        "/refunds/{id}/pay",
        "/refunds/{id}/refuse",
        "/bags/{id}/count",
        "/bags/{id}/steps",
        "/bags/receive",
        "/bankings",
        "/bankings/{id}/confirm",
        "/tube-fills",
        "/float-lines",
        "/maintenance-done",
        "/readings",
        "/access-checks",
        "/duties/done",
        "/energy-readings",
        "/food-locks",
        "/recalls",
        "/recalls/{id}/removals",
        "/recalls/{id}/send",
    }


@pytest.mark.django_db
def test_it_is_served_to_anybody_with_pages_to_read_it_by() -> None:
    answer = Client().get("/api/v1/openapi.json", headers={"Accept": "application/json"})
    assert answer.status_code == 200
    assert answer.json()["paths"].keys() == described()["paths"].keys()
    docs = Client().get("/api/v1/docs")
    assert docs.status_code == 200
    page = docs.content.decode()
    assert "http://" not in page
    assert "https://" not in page
    assert "<style" not in page
    assert "swagger-ui-bundle.js" in page
    script = Client().get("/api/v1/docs?script=")
    assert "javascript" in script["Content-Type"]
    assert "/api/v1/openapi.json" in script.content.decode()


def test_every_operation_says_for_whom_it_is() -> None:
    document = yaml.safe_load(COMMITTED.read_text())
    said = {
        (method, path): operation["description"].splitlines()[-1]
        for path, method, operation in operations(document)
    }
    assert all(line.startswith("For ") for line in said.values()), said
    assert said["post", "/api/v1/products"] == "For the roles owner and dispatcher."
    assert said["post", "/api/v1/people"] == "For the role owner."
    assert said["post", "/api/v1/tokens"] == "For anybody, signed in or not."
    assert said["get", "/api/v1/me"] == "For anybody who works here, whatever the role."


def test_it_speaks_to_those_who_call_and_not_of_the_code() -> None:
    document = yaml.safe_load(COMMITTED.read_text())
    ours = {inspect.getdoc(one) for one in (Shape, RowShape, Strict, Doors)}
    for name, schema in document["components"]["schemas"].items():
        assert schema.get("description") not in ours, name


def test_its_head_names_only_what_there_is() -> None:
    """The page that a newcomer reads first cannot go stale unseen."""
    document = yaml.safe_load(COMMITTED.read_text())
    head = " ".join(document["info"]["description"].split())
    there_are = {
        f"{method.upper()} {path}"
        for path, methods in document["paths"].items()
        for method in methods
    }
    named = set(re.findall(r"`((?:GET|POST|PATCH|DELETE) /api/v1/[^ `]+)`", head))
    assert len(named) >= 5
    assert named <= there_are
    codes = re.findall(r"`([a-z]+_[a-z]+)`(?: \(\d{3}\)| send the same)?", head)
    assert {"bad_token", "key_reused", "changed_meanwhile", "still_running"} <= set(codes)
    for code in codes:
        assert f'"{code}"' in WRITTEN, code
    for subject in ("Sign in", "Lists", "Send it again", "Edits", "Refusals", "Writing"):
        assert f"## {subject}" in head
    rates = settings.REST_FRAMEWORK["DEFAULT_THROTTLE_RATES"]
    assert f"{rates['person'].removesuffix('/min')} requests a minute" in head
    assert f"{pagination.USUAL_LIMIT} rows" in head
    assert f"at most {pagination.MOST}" in head


def test_the_bounds_of_periods_say_what_they_leave_out() -> None:
    document = yaml.safe_load(COMMITTED.read_text())
    for path, method, operation in operations(document):
        for one in operation.get("parameters", []):
            if one["name"] in {"since", "until"}:
                assert one.get("description"), f"{method} {path} {one['name']}"
