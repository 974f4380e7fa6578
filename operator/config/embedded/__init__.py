"""PostgreSQL and a Redis-protocol server from wheels, for the demo and the tests only.

Both packages are young, so only `__main__.py` beside this file names them. A deployment sets
DATABASE_URL and REDIS_URL to real servers and never imports this package.
"""

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

OPERATOR = Path(__file__).resolve().parent.parent.parent
SLOWEST_START_S = 60
SLOWEST_STOP_S = 30


class UnableToStart(RuntimeError):
    """The servers did not come up; the message carries what they said."""


@dataclass(frozen=True)
class Servers:
    """Where the two servers listen, in the words of the environment."""

    database_url: str
    redis_url: str

    def variables(self) -> dict[str, str]:
        return {"DATABASE_URL": self.database_url, "REDIS_URL": self.redis_url}


@contextmanager
def running(
    folder: Path, *, database: str = "colonnade", durable: bool = True
) -> Iterator[Servers]:
    """Both servers, with their data in `folder`, until the block ends or this process dies.

    They hang on a keeper process that ends with its standard input, so not even a kill leaves them
    behind; and in a session of its own, so that ctrl-C reaches web and worker before their servers.
    `durable=False` trades safety against a power cut for speed. Raises UnableToStart.
    """
    folder.mkdir(parents=True, exist_ok=True)
    log = folder / "servers.log"
    options = [str(folder.resolve()), database, *([] if durable else ["--not-durable"])]
    with (
        log.open("w") as said,
        subprocess.Popen(
            [sys.executable, "-m", "config.embedded", *options],
            cwd=OPERATOR,
            env={**os.environ, "PYTHONPATH": str(OPERATOR)},
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=said,
            text=True,
            start_new_session=True,
        ) as keeper,
    ):
        assert keeper.stdin is not None and keeper.stdout is not None  # noqa: S101, PT018
        try:
            line = keeper.stdout.readline()
            if not line:
                raise UnableToStart(
                    f"The embedded servers did not start:\n{log.read_text().strip()}"
                )
            yield Servers(**json.loads(line))
        finally:
            keeper.stdin.close()
            keeper.wait(SLOWEST_STOP_S)
