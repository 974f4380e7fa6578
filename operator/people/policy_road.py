"""Who may do what on a driver's own pages: rows of the one table in policy.py."""

from .who import ROAD, Row

# A driver finds the own runs only; the gatekeepers see to that.
TABLE: tuple[Row, ...] = (
    Row(
        "carry out runs on a driver's pages",
        ROAD,
        (
            "GET office:road-day",
            "GET office:road-worker",
            "GET office:road-run",
            "GET office:road-load",
            "POST office:road-run-act",
            "GET office:road-stop",
            "POST office:road-stop-act",
            "POST office:road-read",
            "GET office:road-change-over",
            "POST office:road-change-over",
        ),
    ),
)
