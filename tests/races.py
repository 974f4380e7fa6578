"""Two people at once, on a real database with real threads."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

from django.db import connection

from people.errors import Unable


def at_once(*calls: Callable[[], object]) -> list[object]:
    """Run the calls together; each result, or the Unable it raised."""
    start = Barrier(len(calls))

    def run(call: Callable[[], object]) -> object:
        start.wait(timeout=10)
        try:
            return call()
        except Unable as refused:
            return refused
        finally:
            connection.close()

    with ThreadPoolExecutor(len(calls)) as pool:
        return list(pool.map(run, calls))
