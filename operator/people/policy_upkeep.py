"""Who may do what with planned maintenance: rows of the one table in policy.py."""

from .who import DESK, READS, ROAD, STAFF, Anyone, Row

TABLE: tuple[Row, ...] = (
    Row(
        "see due maintenance, what was done, and readings",
        STAFF,
        (
            "GET office:upkeep",
            "GET office:upkeep-export",
            "GET office:upkeep-turn",
            "GET office:upkeep-done",
            "GET office:upkeep-machine",
            "GET office:upkeep-plans",
            "GET office:upkeep-plan",
        ),
    ),
    Row(
        "write down maintenance and readings",
        ROAD,
        (
            "GET office:upkeep-record",
            "POST office:upkeep-record",
            "POST office:upkeep-set-aside",
            "POST office:upkeep-reading",
        ),
    ),
    Row(
        "keep maintenance plans and say who does what when",
        DESK,
        (
            "GET office:upkeep-plan-add",
            "POST office:upkeep-plan-add",
            "GET office:upkeep-plan-change",
            "POST office:upkeep-plan-change",
            "POST office:upkeep-own-terms",
            "POST office:upkeep-own-terms-remove",
            "POST office:upkeep-put-off",
            "POST office:upkeep-give",
        ),
    ),
    Row(
        "see how reliable machines are and what they cost to keep",
        READS,
        ("GET office:reliability", "GET office:reliability-export", "GET api:reliability"),
    ),
    Row(
        "have due maintenance in one's own calendar",
        STAFF,
        (
            "GET office:calendars",
            "POST office:calendars",
            "POST office:calendar-revoke",
        ),
    ),
    # The secret in the address is what opens it; a calendar program signs in nowhere.
    Row("read the calendar of a secret address", Anyone.PUBLIC, ("GET office:calendar-feed",)),
    Row(
        "see planned maintenance through the API",
        STAFF,
        (
            "GET api:maintenance-plan-list",
            "GET api:maintenance-plan-detail",
            "GET api:due-work-list",
            "GET api:due-work-detail",
            "GET api:due-work-export",
            "GET api:maintenance-done-list",
            "GET api:maintenance-done-detail",
            "GET api:reading-list",
        ),
    ),
    Row(
        "write down maintenance and readings through the API",
        ROAD,
        (
            "POST api:maintenance-done-list",
            "POST api:maintenance-done-set-aside",
            "POST api:reading-list",
        ),
    ),
    Row(
        "keep maintenance plans and give due work through the API",
        DESK,
        (
            "POST api:maintenance-plan-list",
            "PATCH api:maintenance-plan-detail",
            "POST api:due-work-put-off",
            "POST api:due-work-give",
            "GET api:own-terms-list",
            "GET api:own-terms-detail",
            "POST api:own-terms-list",
            "DELETE api:own-terms-detail",
        ),
    ),
    Row(
        "have due maintenance in one's own calendar through the API",
        STAFF,
        (
            "GET api:calendar-address-list",
            "POST api:calendar-address-list",
            "POST api:calendar-address-revoke",
        ),
    ),
)
