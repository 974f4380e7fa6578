"""Who may do what with stock and buying: rows of the one table in policy.py."""

from .who import Row

TABLE: tuple[Row, ...] = ()
