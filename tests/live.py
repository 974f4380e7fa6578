"""The live service: the real web process on the test's database, for browsers and HTTP clients."""

import os
import socket
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from django.db import connection

from demo import processes

ROOT = Path(__file__).resolve().parent.parent
LONGEST_START_S = 60


@dataclass(frozen=True)
class Live:
    """A running web process. Its letters (password reset) are written into its log."""

    url: str
    log: Path


def environment(**more: str) -> dict[str, str]:
    """What a process of the service needs to work on this very test's database and broker."""
    return {
        **os.environ,
        "DATABASE_URL": urlsplit(os.environ["DATABASE_URL"])
        ._replace(path=f"/{connection.settings_dict['NAME']}")
        .geturl(),
        "COLONNADE_LOG_FORMAT": "json",
        "COLONNADE_LOG_LEVEL": "INFO",
        "PYTHONPATH": str(ROOT / "operator"),
        **more,
    }


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def answered(url: str, **headers: str) -> int | None:
    """The status that an address answers with, or None while nothing listens there."""
    try:
        with urllib.request.urlopen(
            urllib.request.Request(url, headers=headers), timeout=10
        ) as answer:
            return int(answer.status)
    except urllib.error.HTTPError as error:
        with error:
            return int(error.code)
    except OSError:
        return None


def wait_until(url: str, status: int, process: processes.Process) -> None:
    """Wait until an address answers with `status`; fails early when the process has ended."""
    deadline = time.monotonic() + LONGEST_START_S
    seen = None
    while time.monotonic() < deadline:
        process.check()
        seen = answered(url)
        if seen == status:
            return
        time.sleep(0.1)
    pytest.fail(f"{url} answered {seen}, not {status}, for {LONGEST_START_S} s")


@pytest.fixture(scope="session")
def collected(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The static files, collected and hashed as for production."""
    folder = tmp_path_factory.mktemp("static")
    processes.run(
        [sys.executable, "manage.py", "collectstatic", "--noinput", "--verbosity=0"],
        env={**os.environ, "COLONNADE_STATIC_FOLDER": str(folder)},
        cwd=ROOT,
        what="collect the static files",
    )
    return folder


@pytest.fixture(scope="session")
def live_process(
    django_db_setup: None, collected: Path, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Live]:
    port = free_port()
    command = ["gunicorn", "--config=python:config.web", f"--bind=127.0.0.1:{port}", "--workers=1"]
    with processes.running(
        "web",
        [sys.executable, "-m", *command],
        env=environment(COLONNADE_STATIC_FOLDER=str(collected)),
        cwd=ROOT,
        log=tmp_path_factory.mktemp("live") / "web.log",
    ) as web:
        url = f"http://127.0.0.1:{port}"
        wait_until(f"{url}/readyz", 200, web)
        yield Live(url, web.log)


@pytest.fixture
def live(live_process: Live, transactional_db: None) -> Live:
    """The web process, seeing the rows of this test; they are removed after it."""
    return live_process
