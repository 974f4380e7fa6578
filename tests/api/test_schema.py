"""The committed description is the one that the doors give, and is a valid OpenAPI document."""

from io import StringIO
from pathlib import Path
from typing import Any

import pytest
import yaml
from django.core.management import call_command
from django.test import Client

from api.v1.description import described
from people import policy

COMMITTED = Path(__file__).resolve().parents[2] / "api" / "v1" / "openapi.yaml"


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
