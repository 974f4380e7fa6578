"""The whole service on this machine, with an invented business in it: what `sh demo/run` runs.

Web, worker and beat run as in a deployment, on servers from wheels instead of a database machine.
"""

import argparse
import http.client
import os
import secrets
import shutil
import socket
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from config import embedded
from demo import check, processes
from demo.business.people import PASSWORD, PEOPLE
from demo.business.today import today
from demo.processes import UnableToRun

ROOT = Path(__file__).resolve().parent.parent
USUAL_PORT = 8000
LONGEST_START_S = 180
LOOK_EVERY_S = 1
WEEKS = 12
WEEKS_TO_CHECK = 2
WEB = "--config=python:config.web"
WORKER = ("celery", "--app=config.celery", "worker", "--without-gossip", "--without-mingle")
WORKER_IS_UP = "ready."


@dataclass(frozen=True)
class Place:
    """Where one demo lives: the port of its web process and the folder of its data."""

    port: int
    folder: Path

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"


def main(arguments: Sequence[str] | None = None) -> int:
    """Run until stopped, or until checked. Returns the exit code."""
    options = _asked(arguments)
    try:
        with processes.stopped_by_signals(), ExitStack() as stack:
            if options.check:
                scratch = Path(tempfile.mkdtemp(prefix="colonnade-check-"))
                stack.callback(shutil.rmtree, scratch, ignore_errors=True)
                place = Place(_free_port(), scratch)
            else:
                place = Place(_port_not_taken(options.port), options.data.resolve())
            weeks = WEEKS_TO_CHECK if options.check else WEEKS
            running = stack.enter_context(service(place, empty=options.empty, weeks=weeks))
            if options.check:
                return _checked(running, weeks)
            _greet(place, empty=options.empty)
            _watch(running.parts)
    except processes.Stopped:
        print("\nStopped.", flush=True)
    except (UnableToRun, embedded.UnableToStart) as error:
        print(error, file=sys.stderr)
        return 1
    return 0


@dataclass(frozen=True)
class Running:
    """The service while it is up: where, its parts, and how to run one more step beside them.

    `until` is the day on which a business was loaded, if it was now.
    """

    place: Place
    until: date
    parts: list[processes.Process]
    step: Callable[..., None]


def _checked(running: Running, weeks: int) -> int:
    """The business day, with the books proved before it and after it."""
    proof = ("-m", "demo.proof", f"--weeks={weeks}", f"--until={running.until}")
    running.step("hold the books against what is known", *proof)
    code = check.main(running.place.address, weeks=weeks, until=running.until)
    running.step("prove the stock ledger", "manage.py", "check_stock")
    return code


@contextmanager
def service(place: Place, *, empty: bool, weeks: int) -> Iterator[Running]:
    """Everything up and ready at `place`, until the block ends. Raises UnableToRun.

    `weeks` is how far back the invented machines' audit files go, in a business loaded now.
    """
    python = sys.executable
    until = today()  # asked once: a load may go on past midnight
    with ExitStack() as stack:
        print("Starting the servers", flush=True)
        servers = stack.enter_context(embedded.running(place.folder / "servers"))
        env = _environment(place, servers)

        def step(what: str, *command: str) -> None:
            print(f"{what[0].upper()}{what[1:]}", flush=True)
            for line in processes.run(
                [python, *command], env=env, cwd=ROOT, what=what
            ).splitlines():
                print(f"  {line}", flush=True)

        def start(name: str, *command: str) -> processes.Process:
            log = place.folder / "logs" / f"{name}.log"
            module = ["-m", *command]
            return stack.enter_context(
                processes.running(name, [python, *module], env=env, cwd=ROOT, log=log)
            )

        step("bring the tables up to date", "manage.py", "migrate", "--verbosity=0")
        step("collect the static files", "manage.py", "collectstatic", "--noinput", "--verbosity=0")
        if not empty:
            load = ["-m", "demo.load", f"--weeks={weeks}", f"--until={until}"]
            step("load the invented business, if there is none yet", *load)
        # Started last, the worker is stopped first and ends its task while all else stands.
        web = start("web", "gunicorn", WEB, f"--bind=127.0.0.1:{place.port}", "--workers=2")
        beat = f"--schedule={place.folder / 'beat-schedule'}"
        worker = start("worker", *WORKER, "--beat", beat, "--concurrency=1")
        _wait_until_ready(place, web, worker)
        yield Running(place, until, [web, worker], step)


def _asked(arguments: Sequence[str] | None) -> argparse.Namespace:
    asked = argparse.ArgumentParser(prog="sh demo/run", description=__doc__)
    asked.add_argument("--port", type=int, default=USUAL_PORT, help="of the web process")
    asked.add_argument(
        "--data", type=Path, default=ROOT / ".data" / "demo", help="folder; kept for the next time"
    )
    asked.add_argument("--empty", action="store_true", help="without the invented business")
    asked.add_argument(
        "--check",
        action="store_true",
        help="drive a business day through the API on a free port and scratch data, then end",
    )
    return asked.parse_args(arguments)


def _environment(place: Place, servers: embedded.Servers) -> dict[str, str]:
    """What every process of the service reads, in place of any settings of the shell."""
    inbox = place.folder / "inbox"
    inbox.mkdir(parents=True, exist_ok=True)
    inherited = {k: v for k, v in os.environ.items() if not k.startswith("COLONNADE_")}
    return {
        **inherited,
        **servers.variables(),
        "COLONNADE_SECRET_KEY": _kept_secret(place.folder / "secret-key"),
        "COLONNADE_HOSTS": "127.0.0.1,localhost",
        "COLONNADE_HTTPS": "0",  # only this machine can reach it
        # Links of letters, webhooks and calendars lead to the port too.
        "COLONNADE_ADDRESS": f"http://127.0.0.1:{place.port}",
        "COLONNADE_LOG_FORMAT": "text",
        "COLONNADE_STATIC_FOLDER": str(place.folder / "static"),
        "COLONNADE_WATCH_FOLDER": str(inbox),
        "COLONNADE_WEBHOOK_PRIVATE": "1",  # whoever tries webhooks out listens on this machine
        "DJANGO_SETTINGS_MODULE": "config.settings",
        "PYTHONPATH": str(ROOT / "operator"),
    }


def _kept_secret(path: Path) -> str:
    # Kept beside the data, so that those who have signed in still are after a restart.
    if not path.exists():
        path.touch(mode=0o600)
        path.write_text(secrets.token_urlsafe(60))
    return path.read_text()


def _port_not_taken(port: int) -> int:
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", port))
        except (OSError, OverflowError) as error:
            raise UnableToRun(
                f"Port {port} cannot be used ({error}); nothing was started. "
                f"Choose another: sh demo/run --port {min(port, 65000) + 1}"
            ) from error
    return port


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def _wait_until_ready(place: Place, web: processes.Process, worker: processes.Process) -> None:
    deadline = time.monotonic() + LONGEST_START_S
    said = "no answer"
    while time.monotonic() < deadline:
        web.check()
        worker.check()
        connection = http.client.HTTPConnection("127.0.0.1", place.port, timeout=5)
        try:
            connection.request("GET", "/readyz")
            answer = connection.getresponse()
            said = answer.read().decode()
            if answer.status == http.HTTPStatus.OK and worker.has_said(WORKER_IS_UP):
                return
        except OSError as error:
            said = str(error)
        finally:
            connection.close()
        time.sleep(0.2)
    raise UnableToRun(f"The service is not ready after {LONGEST_START_S} seconds: {said}")


def _greet(place: Place, *, empty: bool) -> None:
    print(f"\nColonnade is at {place.address}")
    if empty:
        print("Nobody works here yet; see `manage.py add_person --help`.")
    else:
        print(f"Sign in with the password {PASSWORD} as one of")
        for person in PEOPLE:
            print(f"  {person.email:<32} {', '.join(person.roles)}")
    print(f"Data, logs and letters (in logs/worker.log) are in {place.folder}")
    print("Stop with ctrl-C; the data is kept.", flush=True)


def _watch(parts: Sequence[processes.Process]) -> None:
    while True:
        for part in parts:
            part.check()
        time.sleep(LOOK_EVERY_S)


if __name__ == "__main__":
    sys.exit(main())
