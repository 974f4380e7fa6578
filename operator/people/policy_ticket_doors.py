"""Who may do what with tickets: rows of the one table in policy.py.

A driver finds the own tickets and open ones that are nobody's; the gatekeepers see to that.
"""

from .who import DESK, OWNER, READS, ROAD, STAFF, Row

TABLE: tuple[Row, ...] = (
    Row(
        "see tickets through the API",
        STAFF,
        (
            "GET api:ticket-list",
            "GET api:ticket-detail",
            "GET api:ticket-export",
            "GET api:attachment-detail",
            "GET api:attachment-content",
            "GET api:refund-list",
            "GET api:refund-detail",
            "GET api:refund-export",
            "GET api:symptom-list",
            "GET api:symptom-detail",
            "GET api:cause-list",
            "GET api:cause-detail",
        ),
    ),
    Row(
        "look after tickets through the API",
        DESK,
        (
            "POST api:ticket-list",
            "PATCH api:ticket-detail",
            "POST api:ticket-give",
            "POST api:ticket-drop",
            "POST api:ticket-reopen",
            "POST api:ticket-join",
            "POST api:ticket-refunds",
            "POST api:symptom-list",
            "PATCH api:symptom-detail",
            "POST api:cause-list",
            "PATCH api:cause-detail",
        ),
    ),
    Row(
        "see to tickets through the API",
        ROAD,
        (
            "POST api:ticket-take",
            "POST api:ticket-hand-back",
            "POST api:ticket-on-site",
            "POST api:ticket-wait",
            "POST api:ticket-resume",
            "POST api:ticket-note",
            "POST api:ticket-close",
            "POST api:ticket-file-attachments",
            "POST api:attachment-remove",
            "GET api:road-ticket-list",
            "POST api:road-ticket-take",
            "POST api:road-ticket-hand-back",
            "POST api:road-ticket-on-site",
            "POST api:road-ticket-wait",
            "POST api:road-ticket-resume",
            "POST api:road-ticket-note",
            "POST api:road-ticket-close",
            "POST api:road-machine-report",
        ),
    ),
    Row(
        "pay or refuse refunds through the API",
        READS,
        ("POST api:refund-pay", "POST api:refund-refuse"),
    ),
    Row("see the settings of service work through the API", READS, ("GET api:service-settings",)),
    Row("set what service work costs through the API", OWNER, ("PATCH api:service-settings",)),
    Row(
        "see tickets",
        STAFF,
        (
            "GET office:tickets",
            "GET office:tickets-export",
            "GET office:ticket",
            "GET office:ticket-print",
            "GET office:attachment",
        ),
    ),
    Row(
        "look after tickets",
        DESK,
        (
            "GET office:ticket-report",
            "POST office:ticket-report",
            "POST office:ticket-act",
        ),
    ),
    Row("close tickets", DESK, ("GET office:ticket-close", "POST office:ticket-close")),
    Row(
        "see refunds and pay them",
        READS,
        ("GET office:refunds", "GET office:refunds-export", "POST office:refund-end"),
    ),
    Row("see what tickets stand on", READS, ("GET office:tickets-kept",)),
    Row(
        "keep the words of tickets",
        DESK,
        tuple(
            f"{method} office:{noun}-{verb}"
            for noun in ("symptom", "cause")
            for verb in ("add", "change")
            for method in ("GET", "POST")
        ),
    ),
    Row(
        "set what service work costs",
        OWNER,
        ("GET office:service-settings", "POST office:service-settings"),
    ),
    Row(
        "see to tickets on a driver's pages",
        ROAD,
        (
            "GET office:road-tickets",
            "GET office:road-ticket",
            "POST office:road-ticket-act",
            "GET office:road-report",
            "POST office:road-report",
        ),
    ),
)
