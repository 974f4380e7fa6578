"""Who may do what with stickers, promises, notices and webhooks: rows of the table in policy.py."""

from .who import DESK, Anyone, Row

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
)
