"""Alive and ready: two questions that must not be mixed up."""

import psycopg
import pytest
from django.db import connection
from django.db.migrations.recorder import MigrationRecorder
from django.test import Client

NOWHERE = "redis://127.0.0.1:1/0"


@pytest.mark.django_db
def test_ready_when_database_migrations_and_broker_are(client: Client) -> None:
    answer = client.get("/readyz")
    assert answer.status_code == 200
    assert answer.json() == {
        "status": "ok",
        "database": "ok",
        "migrations": "ok",
        "broker": "ok",
    }
    assert "no-store" in answer["Cache-Control"]


@pytest.mark.django_db
def test_not_ready_without_the_broker(client: Client, settings: pytest.FixtureRequest) -> None:
    settings.CELERY_BROKER_URL = NOWHERE  # type: ignore[attr-defined]
    answer = client.get("/readyz")
    assert answer.status_code == 503
    assert answer.json()["broker"] == "unreachable"
    assert answer.json()["database"] == "ok"


@pytest.mark.django_db
def test_not_ready_while_a_migration_is_not_applied(client: Client) -> None:
    newest = MigrationRecorder.Migration.objects.filter(app="people").latest("pk")
    newest.delete()
    answer = client.get("/readyz")
    assert answer.status_code == 503
    assert answer.json()["migrations"] == "1 not applied"


@pytest.mark.django_db
def test_not_ready_without_the_database(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    """The server is really out of reach: the connection goes to a port where nothing listens."""
    lost = connection.copy("lost")
    lost.settings_dict = {**connection.settings_dict, "HOST": "127.0.0.1", "PORT": "1"}
    monkeypatch.setattr("config.health.connection", lost)
    answer = client.get("/readyz")
    assert answer.status_code == 503
    assert answer.json()["database"] == "unreachable"
    assert answer.json()["migrations"] == "not looked at"


def test_alive_touches_neither_database_nor_broker(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("healthz went to a server")

    monkeypatch.setattr(psycopg, "connect", refuse)
    monkeypatch.setattr("redis.Redis.from_url", refuse)
    answer = client.get("/healthz")
    assert (answer.status_code, answer.json()) == (200, {"status": "ok"})


@pytest.mark.parametrize("path", ["/healthz", "/readyz"])
def test_both_only_answer(client: Client, path: str) -> None:
    assert client.post(path).status_code in {403, 405}
