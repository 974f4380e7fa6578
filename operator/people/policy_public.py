"""Who may do what with stickers, promises, notices and webhooks: rows of the table in policy.py."""

from .who import DESK, OWNER, READS, Anyone, Row

TABLE: tuple[Row, ...] = (
    Row(
        "report a fault behind a sticker, and look up what became of it",
        Anyone.PUBLIC,
        (
            "GET office:report-fault",
            "POST office:report-fault",
            "GET office:report-look",
        ),
    ),
    Row(
        "make stickers for machines",
        DESK,
        ("GET office:stickers", "POST office:stickers-issue", "GET office:stickers-print"),
    ),
    Row(
        "see one's own notices and take them as seen",
        Anyone.SIGNED_IN,
        (
            "POST office:notices-seen",
            "POST office:notice-seen",
            "GET api:notice-list",
            "POST api:notice-see",
        ),
    ),
    Row(
        "see promises, the hours they are reckoned in and days closed",
        READS,
        (
            "GET office:promises",
            "GET api:promise-rule-list",
            "GET api:promise-rule-detail",
            "GET api:service-hours",
            "GET api:closed-day-list",
            "GET api:closed-day-detail",
        ),
    ),
    Row(
        "close days and open them",
        DESK,
        (
            "POST office:closed-day-add",
            "POST office:closed-day-remove",
            "POST api:closed-day-list",
            "DELETE api:closed-day-detail",
        ),
    ),
    Row(
        "set promises and webhooks",
        OWNER,
        (
            "POST office:promise-add",
            "GET office:promise",
            "POST office:promise",
            "POST office:promise-remove",
            "POST office:promise-hours",
            "GET office:webhooks",
            "POST office:webhooks",
            "GET office:webhook",
            "POST office:webhook",
            "POST office:webhook-secret",
            "GET office:webhook-delivery",
            "POST office:webhook-send-again",
            "POST api:promise-rule-list",
            "PATCH api:promise-rule-detail",
            "DELETE api:promise-rule-detail",
            "PATCH api:service-hours",
            "GET api:webhook-list",
            "POST api:webhook-list",
            "GET api:webhook-detail",
            "PATCH api:webhook-detail",
            "POST api:webhook-renew-secret",
            "GET api:webhook-delivery-list",
            "GET api:webhook-delivery-detail",
            "POST api:webhook-delivery-send-again",
        ),
    ),
)
