"""One at a time works out which duties are due."""

from typing import Final

from django.db import connection

ONE_AT_A_TIME: Final = 7_301_462
"""Of the database's advisory locks."""


def take() -> None:
    """Wait until nobody else opens or closes turns; held until the transaction ends.

    Which turn is open follows from what was done: two that read and write at once would open a
    turn that has been done.
    """
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(%s)", [ONE_AT_A_TIME])
