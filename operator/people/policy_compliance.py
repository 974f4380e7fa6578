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
    Row(
        "see duties, food temperatures, dates and recalls through the API",
        STAFF,
        (
            "GET api:duty-rule-list",
            "GET api:duty-rule-detail",
            "GET api:duty-list",
            "GET api:duty-detail",
            "GET api:duty-export",
            "GET api:evidence-detail",
            "GET api:evidence-content",
            "GET api:temperature-limits-list",
            "GET api:temperature-limits-detail",
            "GET api:food-lock-list",
            "GET api:food-lock-detail",
            "GET api:food-temperatures",
            "GET api:dates-in-machines",
            "GET api:recall-list",
            "GET api:recall-detail",
            "GET api:recall-whereabouts",
        ),
    ),
    Row(
        "write down duties seen to through the API",
        STAFF,
        ("POST api:duty-done", "POST api:duty-set-aside", "POST api:evidence-list"),
    ),
    Row(
        "keep duties and the rules they come from through the API",
        READS,
        (
            "POST api:duty-rule-list",
            "PATCH api:duty-rule-detail",
            "POST api:duty-list",
            "PATCH api:duty-detail",
            "POST api:duty-drop",
        ),
    ),
    Row(
        "lock machines with unsafe food and let them sell again through the API",
        ROAD,
        ("POST api:food-lock-list", "POST api:food-lock-lift"),
    ),
    Row(
        "keep limits of food temperatures through the API",
        DESK,
        (
            "POST api:temperature-limits-list",
            "PATCH api:temperature-limits-detail",
            "DELETE api:temperature-limits-detail",
        ),
    ),
    Row(
        "open recalls, send for the goods and end them through the API",
        DESK,
        (
            "POST api:recall-list",
            "PATCH api:recall-detail",
            "POST api:recall-send",
            "POST api:recall-close",
        ),
    ),
    Row("take recalled goods out through the API", ROAD, ("POST api:recall-removals",)),
)
