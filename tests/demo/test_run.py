"""`sh demo/run`: keeps its data, says clearly what is wrong, and leaves no process behind."""

import os
import signal
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import psycopg
import pytest

from tests.leftovers import running_on, wait_until_nothing_runs_on
from tests.live import answered, free_port

ROOT = Path(__file__).resolve().parents[2]
RUN = ["sh", "demo/run"]


@contextmanager
def demo(folder: Path, port: int) -> Iterator[subprocess.Popen[str]]:
    """An empty service, up; killed at the end when the test has not stopped it."""
    with subprocess.Popen(
        [*RUN, "--empty", f"--port={port}", f"--data={folder}"],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    ) as process:
        assert process.stdout is not None
        said = []
        try:
            for line in process.stdout:
                said.append(line)
                if line.startswith("Stop with ctrl-C"):
                    break
            else:
                pytest.fail("".join(said))
            yield process
        finally:
            process.kill()


def database(folder: Path) -> psycopg.Connection:
    return psycopg.connect(
        f"postgresql://postgres@/colonnade?host={folder / 'servers' / 'postgresql'}"
    )


def test_it_keeps_its_data_and_leaves_nothing_running(tmp_path: Path) -> None:
    port = free_port()
    with demo(tmp_path, port) as process:
        assert answered(f"http://127.0.0.1:{port}/readyz") == 200
        parts = " ".join(running_on(tmp_path))
        assert all(part in parts for part in ("gunicorn", "celery", "postgres", "valkey"))
        [master] = [one for one in Path("/proc").iterdir() if is_web_master(one, process.pid)]
        # What leaves without a request, a letter or a webhook, leads to where this service is.
        assert f"COLONNADE_ADDRESS=http://127.0.0.1:{port}\0" in (master / "environ").read_text()
        with database(tmp_path) as connection:
            connection.execute("CREATE TABLE kept AS SELECT 42 AS n")
        process.send_signal(signal.SIGINT)
        assert process.wait(60) == 0
    wait_until_nothing_runs_on(tmp_path)
    secret = (tmp_path / "secret-key").read_text()

    with demo(tmp_path, port) as process:
        assert (tmp_path / "secret-key").read_text() == secret
        with database(tmp_path) as connection:
            assert connection.execute("SELECT n FROM kept").fetchone() == (42,)
        process.send_signal(signal.SIGTERM)
        assert process.wait(60) == 0
    wait_until_nothing_runs_on(tmp_path)


def test_when_one_part_ends_all_end_and_it_is_said_which(tmp_path: Path) -> None:
    with demo(tmp_path, free_port()) as process:
        [master] = [one for one in Path("/proc").iterdir() if is_web_master(one, process.pid)]
        os.kill(int(master.name), signal.SIGKILL)
        assert process.wait(60) == 1
        assert process.stdout is not None
        said = process.stdout.read()
    assert "The web ended by itself (exit code -9)." in said
    assert str(tmp_path / "logs" / "web.log") in said
    wait_until_nothing_runs_on(tmp_path)


def is_web_master(entry: Path, parent: int) -> bool:
    if not entry.name.isdigit():
        return False
    try:
        status = (entry / "status").read_text()
        return f"PPid:\t{parent}\n" in status and b"gunicorn" in (entry / "cmdline").read_bytes()
    except OSError:
        return False


def test_a_taken_port_is_said_before_anything_starts(tmp_path: Path) -> None:
    folder = tmp_path / "data"
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        refused = subprocess.run(
            [*RUN, f"--port={port}", f"--data={folder}"],
            cwd=ROOT,
            capture_output=True,
            text=True,
            check=False,
        )
    assert refused.returncode == 1
    assert refused.stdout == ""
    assert f"Port {port} cannot be used" in refused.stderr
    assert "sh demo/run --port " in refused.stderr
    assert not folder.exists()


def test_the_business_day_goes_through() -> None:
    with tempfile.TemporaryDirectory(prefix="day-") as folder:
        day = subprocess.run(
            [*RUN, "--check"],
            cwd=ROOT,
            env={**os.environ, "TMPDIR": folder},
            capture_output=True,
            text=True,
            check=False,
        )
        assert day.returncode == 0, day.stdout + day.stderr
        assert "database ok, migrations ok, broker ok" in day.stdout
        for said in (
            "Reported at MV-",
            "heard of outside, signed: ticket.new",
            "suggested: ",
            "Closed: motor or home switch",
            "heard of outside, signed: ticket.closed",
            "the customer reads: Somebody has seen to it.",
            "The watch suspects ",
            "The books balance",
        ):
            assert said in day.stdout, day.stdout
        wait_until_nothing_runs_on(Path(folder))
        assert not list(Path(folder).glob("colonnade-check-*"))
