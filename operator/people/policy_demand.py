"""Who may do what with demand: rows of the one table in policy.py.

What is at stake in money is left out for those who do not see money, by the doors themselves.
"""

from .who import DESK, READS, STAFF, Row

TABLE: tuple[Row, ...] = (
    Row(
        "see demand, needs and fits through the API",
        STAFF,
        (
            "GET api:column-demand-list",
            "GET api:column-demand-detail",
            "GET api:column-demand-ahead",
            "GET api:column-demand-export",
            "GET api:machine-need-detail",
            "GET api:fit-run-list",
            "GET api:fit-run-detail",
            "GET api:fit-run-export",
            "GET api:demand-rules",
            "GET api:unusual-day-list",
            "GET api:unusual-day-detail",
        ),
    ),
    Row(
        "fit demand anew and keep its rules through the API",
        DESK,
        (
            "POST api:fit-run-list",
            "PATCH api:demand-rules",
            "POST api:unusual-day-list",
            "DELETE api:unusual-day-detail",
        ),
    ),
    Row(
        "ask through the API what would change if a machine were set up otherwise",
        READS,
        ("GET api:machine-change-detail", "POST api:machine-change-what-if"),
    ),
    Row(
        "see demand and fits",
        STAFF,
        (
            "GET office:fits",
            "GET office:fits-export",
            "GET office:fit-run",
            "GET office:needs",
            "GET office:needs-export",
        ),
    ),
    Row("see what a column sells and needs", STAFF, ("GET office:column-demand",)),
    Row(
        "fit demand anew and keep its rules",
        DESK,
        (
            "POST office:fit-start",
            "GET office:demand-rules",
            "POST office:demand-rules",
            "POST office:unusual-day-mark",
            "POST office:unusual-day-unmark",
        ),
    ),
    Row(
        "ask what would change if a machine were set up otherwise",
        READS,
        ("GET office:machine-what-if", "GET office:machine-suggested"),
    ),
)
