"""Who may do what with the watch and with bags of cash: rows of the one table in policy.py."""

from .who import DESK, READS, Row

TABLE: tuple[Row, ...] = (
    Row(
        "see what the watch found through the API",
        READS,
        (
            "GET api:finding-list",
            "GET api:finding-export",
            "GET api:finding-detail",
            "GET api:look-list",
            "GET api:look-detail",
            "GET api:watch-quality",
            "GET api:watch-limits",
            "GET api:watch-rule-list",
            "GET api:watch-rule-detail",
        ),
    ),
    Row(
        "act on what the watch found through the API",
        DESK,
        (
            "POST api:finding-to-ticket",
            "POST api:finding-dismiss",
            "POST api:look-list",
        ),
    ),
    Row(
        "keep the limits and rules of the watch through the API",
        DESK,
        (
            "PATCH api:watch-limits",
            "POST api:watch-rule-list",
            "PATCH api:watch-rule-detail",
            "DELETE api:watch-rule-detail",
        ),
    ),
    Row(
        "see and count bags of cash through the API",
        READS,
        ("GET api:bag-list", "GET api:bag-detail", "POST api:bag-count"),
    ),
    Row(
        "see what the watch found",
        READS,
        (
            "GET office:watch",
            "GET office:watch-export",
            "GET office:watch-quality",
            "GET office:finding",
            "GET office:look",
        ),
    ),
    Row(
        "act on what the watch found",
        DESK,
        (
            "POST office:look-start",
            "POST office:finding-ticket",
            "POST office:finding-dismiss",
        ),
    ),
    Row(
        "keep the limits and rules of the watch",
        DESK,
        (
            "GET office:watch-limits",
            "POST office:watch-limits",
            "POST office:watch-rule-save",
            "POST office:watch-rule-remove",
        ),
    ),
    Row(
        "see and count bags of cash",
        READS,
        ("GET office:bags", "GET office:bag", "POST office:bag-count"),
    ),
)
