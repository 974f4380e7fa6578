"""docker-compose.yml: right to a real parser, without secrets, and with commands that really work.

No container is started here: each service's very command, taken from the parsed file, runs on the
embedded servers in the environment that the file gives it.
"""

import os
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from contextlib import ExitStack
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import psycopg
import pytest
import yaml

from demo import processes
from tests.live import answered, free_port

ROOT = Path(__file__).resolve().parents[2]
ASKED_FOR = {
    "POSTGRES_PASSWORD": "notquitesecret",
    "COLONNADE_SECRET_KEY": "0123456789" * 6,
    "COLONNADE_HOSTS": "colonnade.example.org",
}
OURS = ("web", "worker", "beat", "migrate")
LONGEST_WAIT_S = 60
pytestmark = pytest.mark.xdist_group("compose")


def compose(*arguments: str, variables: Mapping[str, str]) -> subprocess.CompletedProcess[str]:
    command = next(
        (
            words
            for words in (["docker-compose"], ["docker", "compose"])
            if shutil.which(words[0])
            and not subprocess.run([*words, "version"], capture_output=True, check=False).returncode
        ),
        None,
    )
    if command is None:
        pytest.fail("this needs docker-compose; `sh tests/run` installs it")
    inherited = {k: os.environ[k] for k in ("PATH", "HOME") if k in os.environ}
    return subprocess.run(
        [*command, *arguments],
        cwd=ROOT,
        env={**inherited, **variables},
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.fixture(scope="module")
def services() -> dict[str, Any]:
    parsed = compose("config", variables=ASKED_FOR)
    assert parsed.returncode == 0, parsed.stderr
    whole = yaml.safe_load(parsed.stdout)
    assert set(whole["volumes"]) == {"database", "broker", "inbox"}
    return dict(whole["services"])


def test_the_parts_of_the_service_are_there_and_careful(services: dict[str, Any]) -> None:
    assert set(services) == {"db", "redis", *OURS}
    assert services["db"]["image"] == "postgres:18"
    for name in ("db", "redis", "web", "worker"):
        assert services[name]["healthcheck"]["test"], name
    for name in OURS:
        assert services[name]["read_only"], name
        assert services[name]["cap_drop"] == ["ALL"], name
        assert "DEBUG" not in str(services[name]["environment"]), name
    for name in ("web", "worker", "beat"):
        waits = services[name]["depends_on"]
        assert waits["migrate"]["condition"] == "service_completed_successfully", name


@pytest.mark.parametrize("missing", sorted(ASKED_FOR))
def test_no_secret_is_in_the_file_and_a_missing_one_is_asked_for(missing: str) -> None:
    given = {name: value for name, value in ASKED_FOR.items() if name != missing}
    refused = compose("config", variables=given)
    assert refused.returncode != 0
    hints = {
        "POSTGRES_PASSWORD": "choose a long one of letters and digits",
        "COLONNADE_SECRET_KEY": "50 or more random characters, kept private",
        "COLONNADE_HOSTS": "the names the service answers to",
    }
    assert hints[missing] in refused.stderr


def test_the_image_holds_all_that_the_service_needs_and_runs_as_nobody_special(
    tmp_path: Path,
) -> None:
    lines = (ROOT / "operator" / "Dockerfile").read_text().splitlines()
    last_stage = lines[max(i for i, line in enumerate(lines) if line.startswith("FROM ")) :]
    assert [line for line in last_stage if line.startswith("USER ")] == ["USER colonnade"]
    for line in last_stage:
        if line.startswith("COPY ") and "--from" not in line:
            _, source, target = line.split()
            if (ROOT / source).is_dir():
                ignored = shutil.ignore_patterns("__pycache__", "embedded", "Dockerfile", "prepare")
                shutil.copytree(ROOT / source, tmp_path / target, ignore=ignored)
            else:
                shutil.copy(ROOT / source, tmp_path / source)
    assert not (tmp_path / "demo").exists()
    (tmp_path / "static").mkdir()
    checked = subprocess.run(
        [sys.executable, "manage.py", "check"],
        cwd=tmp_path,
        env={
            **os.environ,
            "PYTHONPATH": f"{tmp_path}:{tmp_path / 'operator'}",
            "COLONNADE_STATIC_FOLDER": str(tmp_path / "static"),
        },
        capture_output=True,
        text=True,
        check=False,
    )
    assert checked.returncode == 0, checked.stderr


@pytest.fixture(scope="module")
def deployed(services: dict[str, Any], tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """Gives a service's command and environment, with only the addresses changed to this machine's.

    Its database is new, so that the file's own migrate command has all to do.
    """
    folder = tmp_path_factory.mktemp("deployed")
    name = f"deployed_{os.getpid()}"
    url = urlsplit(os.environ["DATABASE_URL"])
    with psycopg.connect(url.geturl(), autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}")  # type: ignore[call-overload]
        here = {
            "PATH": f"{Path(sys.executable).parent}:{os.environ['PATH']}",
            "PYTHONPATH": f"{ROOT}:{ROOT / 'operator'}",
            "DATABASE_URL": url._replace(path=f"/{name}").geturl(),
            "REDIS_URL": os.environ["REDIS_URL"].rpartition("/")[0] + "/15",
            "COLONNADE_STATIC_FOLDER": str(folder),
            "COLONNADE_WATCH_FOLDER": str(folder),
            "PORT": str(free_port()),
            "HOSTNAME": "here",
        }
        yield lambda service: (
            [word.replace("$$", "$") for word in services[service]["command"]],
            {**services[service]["environment"], **here},
            folder / f"{service}.log",
        )
        connection.execute(f"DROP DATABASE {name} WITH (FORCE)")  # type: ignore[call-overload]


def test_each_command_brings_its_service_up(deployed: Any, services: dict[str, Any]) -> None:
    command, env, _ = deployed("migrate")
    processes.run(command, env=env, cwd=ROOT, what="migrate")
    with ExitStack() as stack:
        up = {}
        for name in ("web", "worker", "beat"):
            command, env, log = deployed(name)
            if name == "worker":
                command = [*command, f"--hostname=celery@{env['HOSTNAME']}"]
            process = processes.running(name, command, env=env, cwd=ROOT, log=log)
            up[name] = stack.enter_context(process)

        _wait(lambda: is_healthy(services["web"], deployed("web")[1]), up["web"])
        # Ready, and by plain HTTP only for the proxy that says it has ended HTTPS.
        env = deployed("web")[1]
        ready = f"http://127.0.0.1:{env['PORT']}/readyz"
        assert answered(ready, Host=ASKED_FOR["COLONNADE_HOSTS"]) == 200
        assert answered(ready, Host="elsewhere.example.org") == 400

        _wait(lambda: up["worker"].has_said("ready."), up["worker"])
        _wait(lambda: is_healthy(services["worker"], deployed("worker")[1]), up["worker"])
        _wait(lambda: up["beat"].has_said("beat: Starting"), up["beat"])
        for process in up.values():
            process.check()


def is_healthy(service: dict[str, Any], env: Mapping[str, str]) -> bool:
    kind, *words = service["healthcheck"]["test"]
    command = words if kind == "CMD" else ["sh", "-c", words[0].replace("$$", "$")]
    asked = subprocess.run(command, cwd=ROOT, env=dict(env), capture_output=True, check=False)
    return asked.returncode == 0


def _wait(until: Any, process: processes.Process) -> None:
    deadline = time.monotonic() + LONGEST_WAIT_S
    while not until():
        process.check()
        assert time.monotonic() < deadline, processes.tail(process.log)
        time.sleep(0.2)


def test_the_web_process_is_not_alive_where_nothing_listens(
    deployed: Any, services: dict[str, Any]
) -> None:
    _, env, _ = deployed("web")
    assert not is_healthy(services["web"], {**env, "PORT": str(free_port())})


def test_a_wrong_environment_stops_the_web_process_at_once(deployed: Any) -> None:
    command, env, _ = deployed("web")
    stopped = subprocess.run(
        command,
        cwd=ROOT,
        env={**env, "COLONNADE_LOG_LEVEL": "LOUD"},
        capture_output=True,
        text=True,
        check=False,
        timeout=LONGEST_WAIT_S,
    )
    assert stopped.returncode != 0
    assert "COLONNADE_LOG_LEVEL: " in stopped.stderr
    assert "set DEBUG, INFO, WARNING or ERROR" in stopped.stderr
