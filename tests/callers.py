"""Devices of the cast, and requests as clients send them."""

from collections.abc import Callable, Mapping
from typing import Any

import pytest
from rest_framework.test import APIClient

from people.models import Person

V1 = "/api/v1"


class Caller:
    """A client that speaks JSON with a person's token, and knows keys and tags."""

    def __init__(self, client: APIClient) -> None:
        self.client = client

    def get(self, path: str, query: Mapping[str, Any] | None = None, **headers: str) -> Any:
        return self.client.get(V1 + path, query, headers=headers)

    def post(self, path: str, body: Any = None, *, key: str | None = None, **headers: str) -> Any:
        given = headers | ({"Idempotency-Key": key} if key else {})
        return self.client.post(V1 + path, body, format="json", headers=given)

    def patch(self, path: str, body: Any, *, tag: str | None = None) -> Any:
        given = {"If-Match": tag} if tag else {}
        return self.client.patch(V1 + path, body, format="json", headers=given)

    def delete(self, path: str, *, tag: str | None = None) -> Any:
        return self.client.delete(V1 + path, headers={"If-Match": tag} if tag else {})


@pytest.fixture
def caller(device: Callable[[Any], APIClient]) -> Callable[[Any], Caller]:
    return lambda person: Caller(device(person))


@pytest.fixture
def as_owner(caller: Callable[[Any], Caller], owner: Person) -> Caller:
    return caller(owner)


@pytest.fixture
def as_driver(caller: Callable[[Any], Caller], driver: Person) -> Caller:
    return caller(driver)


@pytest.fixture
def as_nobody() -> Caller:
    return Caller(APIClient())


@pytest.fixture
def refused() -> Callable[..., dict[str, Any]]:
    """Asserts that an answer is a problem of this status and code, and gives its body."""

    def check(response: Any, status: int, code: str | None = None) -> dict[str, Any]:
        assert response.status_code == status, response.content
        assert response["Content-Type"] == "application/problem+json"
        body = response.json()
        assert body["status"] == status
        assert body["type"] == "urn:colonnade:problem:" + body["code"].replace("_", "-")
        assert body["title"]
        assert body["detail"]
        if code is not None:
            assert body["code"] == code, body
        return body

    return check
