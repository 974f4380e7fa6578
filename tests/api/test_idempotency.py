"""A write that is sent twice takes effect once, also when both arrive at the same moment."""

import threading
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection, transaction
from django.utils import timezone

from api import idempotency
from api.models import IdempotencyKey
from api.tasks import forget_expired_keys
from fleet.machines.models import Package
from people.models import Person
from tests.callers import Caller

Refused = Callable[..., dict[str, Any]]
CAN = {"name": "can", "shape": "can", "length_mm": 122}


@pytest.mark.django_db
def test_quoted_and_bare_are_one_key(as_owner: Caller) -> None:
    first = as_owner.post("/packages", CAN, key='"abc-1"')
    again = as_owner.post("/packages", CAN, key="abc-1")
    assert (first.status_code, again.status_code) == (201, 201)
    assert again.content == first.content
    assert again["Location"] == first["Location"]
    assert Package.objects.count() == 1


@pytest.mark.django_db
def test_another_body_under_one_key(as_owner: Caller, refused: Refused) -> None:
    as_owner.post("/packages", CAN, key="k")
    other = as_owner.post("/packages", {**CAN, "name": "tin"}, key="k")
    assert refused(other, 422, "key_reused")["errors"][0]["header"] == "Idempotency-Key"
    # Another address is another scope.
    assert as_owner.post("/sites", {"name": "Mill"}, key="k").status_code == 201


@pytest.mark.django_db
@pytest.mark.parametrize("key", ['""', "x" * 201, "a b", '"a', "ä"])
def test_a_malformed_key(key: str, as_owner: Caller, refused: Refused) -> None:
    refused(as_owner.post("/packages", CAN, key=key), 400, "key_malformed")
    assert not Package.objects.exists()


@pytest.mark.django_db
def test_a_key_lives_for_a_day(as_owner: Caller) -> None:
    as_owner.post("/packages", CAN, key="k")
    kept = IdempotencyKey.objects.get()
    assert kept.expires_at - kept.created_at == timedelta(hours=24)
    assert idempotency.purge(now=kept.expires_at - timedelta(seconds=1)) == 0
    IdempotencyKey.objects.update(expires_at=timezone.now())
    # Expired, the key is free again even before it is purged.
    assert as_owner.post("/packages", {**CAN, "name": "tin"}, key="k").status_code == 201
    IdempotencyKey.objects.update(expires_at=timezone.now())
    assert forget_expired_keys() == 1
    assert not IdempotencyKey.objects.exists()


@pytest.mark.django_db
def test_a_secret_is_never_kept(as_owner: Caller, owner: Person) -> None:
    made = as_owner.post(f"/people/{owner.pk}/tokens", {"name": "phone"}, key="k")
    assert made.status_code == 201
    assert not IdempotencyKey.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_the_first_is_still_running(as_owner: Caller, owner: Person, refused: Refused) -> None:
    """While one transaction holds a key, the same key is told to wait, not made to."""
    held, let_go = threading.Event(), threading.Event()

    def first() -> None:
        try:
            with transaction.atomic():
                assert idempotency._alone(f"{owner.pk} POST /api/v1/packages k")
                held.set()
                let_go.wait(10)
        finally:
            connection.close()

    thread = threading.Thread(target=first)
    thread.start()
    assert held.wait(10)
    try:
        answer = as_owner.post("/packages", CAN, key="k")
        refused(answer, 409, "still_running")
        assert answer["Retry-After"] == "1"
    finally:
        let_go.set()
        thread.join(10)
    assert as_owner.post("/packages", CAN, key="k").status_code == 201


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("key", [None, "one"])
def test_many_at_the_same_moment(
    key: str | None, caller: Callable[[Any], Caller], owner: Person
) -> None:
    """Eight threads send one chart entry: a key makes them one, else the table refuses seven."""
    callers = [caller(owner) for _ in range(8)]
    start = threading.Barrier(len(callers))
    statuses: list[int] = []
    bodies: list[bytes] = []

    def send(one: Caller) -> None:
        try:
            start.wait(10)
            answer = one.post("/chart-entries", body, key=key)
            while answer.status_code == 409 and answer.json()["code"] == "still_running":
                answer = one.post("/chart-entries", body, key=key)
            statuses.append(answer.status_code)
            bodies.append(answer.content)
        finally:
            connection.close()

    position, package = _a_place(callers[0])
    body = {
        "position": position,
        "package": package,
        "source": "label",
        "deep": 1,
        "front_setting": 3,
    }
    threads = [threading.Thread(target=send, args=(one,)) for one in callers]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    if key is None:
        # The table holds one entry of a source, so the others are refused: the race is real.
        assert sorted(statuses)[0] == 201
        assert set(sorted(statuses)[1:]) <= {409, 422}
    else:
        assert statuses == [201] * 8
        assert len(set(bodies)) == 1


def _a_place(owner: Caller) -> tuple[int, int]:
    half = {
        "front_depth_mm": 252,
        "front_zero_mm": 92,
        "front_pitch_mm": 8,
        "front_notches": 21,
        "front_runs": "outward",
    }
    kind = owner.post(
        "/kinds",
        {"name": "stack", "positions": [{"label": "1", "width_mm": 84, "height_mm": 900, **half}]},
    ).json()
    return kind["positions"][0]["id"], owner.post("/packages", CAN).json()["id"]
