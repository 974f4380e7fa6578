"""The embedded servers: kept data, one owner at a time, and no process left behind."""

import os
import signal
import subprocess
import sys
from pathlib import Path

import psycopg
import pytest
import redis

from config import embedded
from tests.leftovers import running_on, wait_until_nothing_runs_on


def test_both_answer_keep_their_data_and_stop(tmp_path: Path) -> None:
    folder = tmp_path / "data"
    with embedded.running(folder, database="depot") as servers:
        with psycopg.connect(servers.database_url) as connection:
            connection.execute("CREATE TABLE kept (n int)")
            assert connection.info.dbname == "depot"
            assert connection.info.server_version // 10_000 == 18
        with redis.Redis.from_url(servers.redis_url) as broker:
            assert broker.ping()
        with (
            pytest.raises(embedded.UnableToStart, match="another process already runs"),
            embedded.running(folder),
        ):
            pass
        assert running_on(folder)
    wait_until_nothing_runs_on(folder)
    with (
        embedded.running(folder, database="depot") as servers,
        psycopg.connect(servers.database_url) as connection,
    ):
        assert connection.execute("SELECT count(*) FROM kept").fetchone() == (0,)


def test_they_stop_when_the_one_who_wanted_them_is_killed(tmp_path: Path) -> None:
    folder = tmp_path / "data"
    wants = (
        "import sys, time; from pathlib import Path; from config import embedded\n"
        "with embedded.running(Path(sys.argv[1])): print('up', flush=True); time.sleep(60)"
    )
    with subprocess.Popen(
        [sys.executable, "-c", wants, str(folder)],
        env={**os.environ, "PYTHONPATH": str(embedded.OPERATOR)},
        stdout=subprocess.PIPE,
        text=True,
    ) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "up\n"
        process.send_signal(signal.SIGKILL)
    wait_until_nothing_runs_on(folder)


def test_a_server_that_cannot_start_says_why(tmp_path: Path) -> None:
    (tmp_path / "postgresql").mkdir()
    (tmp_path / "postgresql" / "PG_VERSION").write_text("9\n")
    with (
        pytest.raises(embedded.UnableToStart, match=r"did not start:\n.*"),
        embedded.running(tmp_path),
    ):
        pass
    wait_until_nothing_runs_on(tmp_path)
