"""Who may do what with commission and settlements of cards: rows of the table in policy.py.

A driver sees neither.
"""

from .who import MONEY, READS, Row

TABLE: tuple[Row, ...] = (
    Row(
        "see agreements with hosts, statements of commission, and settlements of cards",
        READS,
        (
            "GET office:commission",
            "GET office:commission-agreement",
            "GET office:statement",
            "GET office:statement-paper",
            "GET office:settlements",
            "GET api:commission-agreement-list",
            "GET api:commission-agreement-detail",
            "GET office:statement-export",
            "GET office:statements-export",
            "GET office:settlements-machine",
            "GET office:settlements-export",
            "GET api:statement-list",
            "GET api:statement-detail",
            "GET api:statement-export",
            "GET api:settlement-list",
            "GET api:settlement-detail",
            "GET api:settlement-raw",
            "GET api:settlement-line-list",
            "GET api:settlement-day-list",
            "GET api:settlement-day-export",
            "GET api:settlement-mapping-list",
            "GET api:settlement-mapping-detail",
            "GET api:card-terminal-list",
            "GET api:card-terminal-detail",
        ),
    ),
    Row(
        "keep agreements, issue, correct, pay and mail statements",
        MONEY,
        (
            "GET office:commission-agreement-add",
            "POST office:commission-agreement-add",
            "POST office:commission-agreement",
            "GET office:statement-preview",
            "POST office:statement-issue",
            "POST office:statements-run",
            "POST office:statement-correct",
            "POST office:statement-pay",
            "POST office:statement-mail",
            "POST api:commission-agreement-list",
            "PATCH api:commission-agreement-detail",
            "GET api:commission-agreement-preview",
            "POST api:statement-list",
            "POST api:statement-run",
            "POST api:statement-correct",
            "POST api:statement-pay",
            "POST api:statement-send",
        ),
    ),
    Row(
        "take in settlements of cards, and say how they are read",
        MONEY,
        (
            "POST office:settlements-take-in",
            "POST office:settlements-columns",
            "GET office:settlements-mapping",
            "POST office:settlements-mapping",
            "POST office:card-terminal",
            "POST api:settlement-list",
            "POST api:settlement-mapping-list",
            "PATCH api:settlement-mapping-detail",
            "POST api:card-terminal-list",
        ),
    ),
)
