"""Who may see what machines earn: rows of the one table in policy.py."""

from .who import MONEY, Row

TABLE: tuple[Row, ...] = (
    Row(
        "see what machines, sites, products and drivers' hours earn",
        MONEY,
        (
            "GET office:earnings",
            "GET office:earnings-export",
            "GET office:earnings-of",
            "GET office:earnings-changes",
        ),
    ),
    Row(
        "set what earnings are reckoned with",
        MONEY,
        ("GET office:earnings-settings", "POST office:earnings-settings"),
    ),
    Row(
        "see what machines, sites, products and drivers' hours earn through the API",
        MONEY,
        (
            "GET api:earning-list",
            "GET api:earning-export",
            "GET api:earning-change-detail",
            "GET api:earnings-settings",
        ),
    ),
    Row(
        "set what earnings are reckoned with through the API",
        MONEY,
        ("PATCH api:earnings-settings",),
    ),
)
