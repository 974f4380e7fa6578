"""One at a time works out what is due."""

from typing import Final

from django.db import connection

ONE_AT_A_TIME: Final = 7_301_461
"""Of the database's advisory locks."""


def take() -> None:
    """Wait until nobody else changes due work; held until the transaction ends.

    What is due follows from the last work done: two that read and write at once would open a turn
    that has been done.
    """
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(%s)", [ONE_AT_A_TIME])
