"""What every answer carries: the request's id and the headers that keep a browser safe."""

import io
import json
import logging

import pytest
import structlog
from django.test import Client

from config import logs


@pytest.fixture
def written(monkeypatch: pytest.MonkeyPatch) -> io.StringIO:
    """What the service logs as in production, while the test runs."""
    stream = io.StringIO()
    monkeypatch.setattr("sys.stderr", stream)
    logs.configure(level="INFO", style="json")
    return stream


@pytest.fixture(autouse=True)
def _logs_as_before() -> object:
    root = logging.getLogger()
    handlers, level = list(root.handlers), root.level
    yield
    root.handlers[:] = handlers
    root.setLevel(level)
    structlog.reset_defaults()


def lines(stream: io.StringIO) -> list[dict[str, object]]:
    return [json.loads(line) for line in stream.getvalue().splitlines()]


def test_a_well_formed_id_is_kept_and_a_bad_one_replaced(client: Client) -> None:
    kept = client.get("/healthz", headers={"X-Request-ID": "from-the-proxy-1"})
    assert kept["X-Request-ID"] == "from-the-proxy-1"
    for bad in ("short", "a" * 65, "with space in it", "line\nbreak-line-break"):
        made = client.get("/healthz", headers={"X-Request-ID": bad})["X-Request-ID"]
        assert made != bad
        assert len(made) == 32
    assert client.get("/healthz")["X-Request-ID"] != client.get("/healthz")["X-Request-ID"]


@pytest.mark.django_db
def test_the_secret_address_of_a_calendar_is_not_logged(
    client: Client, written: io.StringIO
) -> None:
    client.get("/calendar/a-secret-of-somebody.ics")
    (line,) = [one for one in lines(written) if one.get("event") == "request"]
    assert line["path"] == "/calendar/…"


def test_each_log_line_of_a_request_is_json_with_its_id(
    client: Client, written: io.StringIO
) -> None:
    client.get("/nowhere-at-all", headers={"X-Request-ID": "walk-12345678"})
    found = [line for line in lines(written) if line.get("request_id") == "walk-12345678"]
    [ended] = [line for line in found if line["event"] == "request"]
    assert ended["path"] == "/nowhere-at-all"
    assert ended["status"] == 404
    assert ended["level"] == "info"
    assert {"timestamp", "logger", "took_ms", "method"} <= ended.keys()


def test_libraries_log_through_the_same_lines_with_tracebacks_inside(
    written: io.StringIO,
) -> None:
    try:
        raise ValueError("a broken spacer")
    except ValueError:
        logging.getLogger("some.library").exception("could not\nread %s", "it")
    [line] = lines(written)
    assert line["event"] == "could not\nread it"
    assert line["logger"] == "some.library"
    assert "ValueError: a broken spacer" in str(line["exception"])


def test_questions_of_health_are_not_logged(client: Client, written: io.StringIO) -> None:
    client.get("/healthz")
    assert lines(written) == []


def test_every_answer_forbids_foreign_scripts_frames_and_guesses(client: Client) -> None:
    answer = client.get("/healthz")
    policy = dict(
        part.strip().split(" ", 1) for part in answer["Content-Security-Policy"].split(";")
    )
    assert policy["default-src"] == "'none'"
    assert policy["script-src"] == policy["style-src"] == policy["connect-src"] == "'self'"
    assert policy["frame-ancestors"] == policy["base-uri"] == "'none'"
    assert "unsafe" not in answer["Content-Security-Policy"]
    assert answer["X-Frame-Options"] == "DENY"
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["Referrer-Policy"] == "same-origin"
    assert answer["Cross-Origin-Opener-Policy"] == "same-origin"
