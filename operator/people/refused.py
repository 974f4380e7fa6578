"""What the database refused, as the business says it, for doors whose action did not foresee it."""

from collections.abc import Iterator
from contextlib import contextmanager

import psycopg.errors
import structlog
from django.db import DatabaseError, IntegrityError

from .errors import Unable

log = structlog.get_logger(__name__)


@contextmanager
def in_words() -> Iterator[None]:
    """Raises what the database refuses inside as Unable; a fault of ours goes through as it is."""
    try:
        yield
    except DatabaseError as error:
        refusal = refusal_of(error)
        if refusal is None:
            raise
        raise refusal from error


def refusal_of(error: DatabaseError) -> Unable | None:
    """A lock that did not come free, a rule that a write would break; None for a fault of ours."""
    cause = error.__cause__
    if isinstance(cause, psycopg.errors.LockNotAvailable | psycopg.errors.DeadlockDetected):
        return Unable(
            "somebody else is at work on the same rows; nothing was changed, try again", code="busy"
        )
    if isinstance(error, IntegrityError):
        # The name of the constraint is ours and says what must never be false.
        name = getattr(getattr(cause, "diag", None), "constraint_name", None) or "a rule"
        log.warning("constraint stopped a write", constraint=name)
        return Unable(
            f"that would break a rule of the records ({name}); nothing was changed",
            code="breaks_rule",
        )
    return None
