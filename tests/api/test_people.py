"""People, their device tokens, oneself, and the business's settings."""

from collections.abc import Callable
from typing import Any

import pytest
from rest_framework.test import APIClient

from people.models import AuditEntry, DeviceToken, Person
from tests.callers import Caller
from tests.cast import PASSWORD

pytestmark = pytest.mark.django_db
Refused = Callable[..., dict[str, Any]]


def bearer(secret: str) -> Caller:
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {secret}")
    return Caller(client)


def test_a_driver_starts_with_a_password(driver: Person, as_nobody: Any) -> None:
    body = {"email": driver.email.upper(), "password": PASSWORD, "name": "my phone", "days": 30}
    answer = as_nobody.post("/tokens", body)
    assert answer.status_code == 201, answer.content
    assert "no-store" in answer["Cache-Control"]
    secret = answer.json()["secret"]

    me = bearer(secret).get("/me")
    assert (me.json()["name"], me.json()["roles"]) == (driver.name, ["driver"])
    listed = bearer(secret).get("/tokens").json()["items"]
    assert [one["name"] for one in listed] == ["my phone"]
    assert secret not in str(listed)


def test_a_wrong_password_opens_nothing_and_in_the_end_locks(
    driver: Person, as_nobody: Any, refused: Refused
) -> None:
    body = {"email": driver.email, "password": "wrong", "name": "phone"}
    answers = [as_nobody.post("/tokens", body) for _ in range(5)]
    assert "WWW-Authenticate" in answers[0]
    refused(answers[0], 401, "bad_credentials")
    locked = as_nobody.post("/tokens", {**body, "password": PASSWORD})
    refused(locked, 429, "locked_out")
    assert int(locked["Retry-After"]) > 0
    assert not DeviceToken.objects.exists()


def test_nobody_and_a_dead_token_are_told_to_sign_in(
    driver: Person, as_nobody: Any, refused: Refused
) -> None:
    answer = as_nobody.get("/machines")
    refused(answer, 401, "not_signed_in")
    assert answer["WWW-Authenticate"].startswith("Bearer")
    dead = bearer("no-such-secret").get("/machines")
    refused(dead, 401)
    assert "invalid_token" in dead["WWW-Authenticate"]


def test_a_token_is_taken_away_by_its_holder_or_an_owner(
    driver: Person,
    as_driver: Any,
    as_owner: Any,
    caller: Any,
    other_driver: Person,
    refused: Refused,
) -> None:
    made = as_driver.post(f"/people/{driver.pk}/tokens", {"name": "tablet"}).json()
    opened = bearer(made["secret"])
    assert opened.get("/me").status_code == 200

    refused(caller(other_driver).post(f"/tokens/{made['id']}/revoke", {}), 404)
    gone = as_owner.post(f"/tokens/{made['id']}/revoke", {"reason": "lost at the ferry"})
    assert gone.json()["revoked_at"]
    refused(opened.get("/me"), 401)
    assert AuditEntry.objects.get(verb="revoke device token").reason == "lost at the ferry"


def test_nobody_makes_a_token_for_another_but_an_owner(
    driver: Person, as_owner: Any, caller: Any, dispatcher: Person, refused: Refused
) -> None:
    body = {"name": "van"}
    refused(caller(dispatcher).post(f"/people/{driver.pk}/tokens", body), 403)
    assert as_owner.post(f"/people/{driver.pk}/tokens", body).status_code == 201


def test_people_are_the_owners_to_change(
    as_owner: Any, as_driver: Any, driver: Person, owner: Person, refused: Refused
) -> None:
    body = {"name": "Ines Marlowe", "email": "ines@desk.example.org", "roles": ["driver"]}
    added = as_owner.post("/people", body)
    assert added.status_code == 201, added.content
    address = f"/people/{added.json()['id']}"
    taken = refused(as_owner.post("/people", {**body, "email": "INES@desk.example.org"}), 422)
    assert taken["errors"][0]["pointer"] == "/email"
    weak = refused(as_owner.post("/people", {**body, "email": "i@x.org", "password": "short"}), 422)
    assert weak["errors"][0]["pointer"] == "/password"

    more = as_owner.patch(address, {"roles": ["driver", "dispatcher"]}, tag=added["ETag"])
    assert set(more.json()["roles"]) == {"driver", "dispatcher"}
    refused(as_owner.post(f"/people/{owner.pk}/let-go", {}), 409, "last_owner")
    assert as_owner.post(f"{address}/let-go", {}).json()["is_active"] is False
    assert as_owner.post(f"{address}/take-back").json()["is_active"] is True

    refused(as_driver.post("/people", body), 403)
    refused(as_driver.get(address), 404)
    assert [one["id"] for one in as_driver.get("/people").json()["items"]] == [driver.pk]


def test_the_trail_of_people_is_for_owners(
    as_owner: Any, caller: Any, accountant: Person, refused: Refused
) -> None:
    about = {"object_type": "people.Person"}
    assert as_owner.get("/audit-entries", about).json()["items"]
    assert caller(accountant).get("/audit-entries", about).json()["items"] == []


def test_the_business_by_its_tag(as_owner: Any, as_driver: Any, refused: Refused) -> None:
    seen = as_owner.get("/business")
    refused(as_owner.patch("/business", {"units": "mm"}), 428)
    said = refused(as_owner.patch("/business", {"units": "cubits"}, tag=seen["ETag"]), 422)
    assert said["errors"][0]["pointer"] == "/units"
    changed = as_owner.patch(
        "/business", {"units": "mm", "time_zone": "America/Chicago"}, tag=seen["ETag"]
    )
    assert changed.json()["time_zone"] == "America/Chicago"
    refused(as_driver.patch("/business", {"units": "in"}, tag=changed["ETag"]), 403)


def test_the_desks_session_works_with_its_csrf_token(owner: Person, refused: Refused) -> None:
    client = APIClient(enforce_csrf_checks=True)
    client.force_login(owner, backend="django.contrib.auth.backends.ModelBackend")
    desk = Caller(client)
    assert desk.get("/me").json()["id"] == owner.pk
    body = {"name": "can", "shape": "can"}
    refused(desk.post("/packages", body), 403)
    client.cookies["csrftoken"] = "a" * 32
    assert desk.post("/packages", body, **{"X-CSRFToken": "a" * 32}).status_code == 201
