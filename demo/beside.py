"""Work in a process of its own beside this one, so that a load makes use of two cores."""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from django.db import connections


class WorkFailed(RuntimeError):
    """What ran beside did not come to its end."""


@contextmanager
def beside(work: Callable[[], None]) -> Iterator[None]:
    """Do `work` in another process while the block runs; both are done when the block ends.

    It sees everything as it stands here and leaves nothing but what it writes to the database, so
    outside of any transaction. Raises WorkFailed when it did not come to its end.
    """
    # A connection must not be shared with a child.
    connections.close_all()
    child = multiprocessing.get_context("fork").Process(target=work, daemon=True)
    child.start()
    try:
        yield
    except BaseException:
        child.terminate()
        raise
    finally:
        child.join()
    if child.exitcode:
        raise WorkFailed(f"the process beside ended with exit code {child.exitcode}; see above")
