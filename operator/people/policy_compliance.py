"""Who may do what with duties, food temperatures, dates and recalls: rows of the one table in
policy.py."""

from .who import DESK, READS, ROAD, STAFF, Row

TABLE: tuple[Row, ...] = (
    Row(
        "see duties, food temperatures, dates and recalls",
        STAFF,
        (
            "GET office:duties",
            "GET office:duties-export",
            "GET office:duty",
            "GET office:duty-rules",
            "GET office:evidence",
            "GET office:temperatures",
            "GET office:temperatures-machine",
            "GET office:dates",
            "GET office:dates-export",
            "GET office:recalls",
            "GET office:recall",
            "GET office:recall-export",
        ),
    ),
    # A driver writes down what is the driver's own; the action judges.
    Row(
        "write down duties seen to",
        STAFF,
        ("POST office:duties-record", "POST office:duty-record", "POST office:duty-set-aside"),
    ),
    Row(
        "keep duties and the rules they come from",
        READS,
        (
            "GET office:duty-add",
            "POST office:duty-add",
            "GET office:duty-change",
            "POST office:duty-change",
            "POST office:duty-drop",
            "GET office:duty-rule-add",
            "POST office:duty-rule-add",
            "GET office:duty-rule-change",
            "POST office:duty-rule-change",
            "POST office:duty-packs",
        ),
    ),
    Row(
        "write down food temperatures and let machines sell again",
        ROAD,
        (
            "POST office:temperature-read",
            "POST office:food-failure",
            "POST office:food-lock-lift",
        ),
    ),
    Row(
        "keep limits of food temperatures",
        DESK,
        (
            "GET office:temperature-limits-add",
            "POST office:temperature-limits-add",
            "GET office:temperature-limits-change",
            "POST office:temperature-limits-change",
            "POST office:temperature-limits-remove",
        ),
    ),
    Row(
        "open recalls, send for the goods and end them",
        DESK,
        (
            "GET office:recall-add",
            "POST office:recall-add",
            "GET office:recall-change",
            "POST office:recall-change",
            "POST office:recall-send",
            "POST office:recall-close",
        ),
    ),
    Row("take recalled goods out", ROAD, ("POST office:recall-take-out",)),
)
