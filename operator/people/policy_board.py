"""Who may do what on the dispatcher's board: rows of the one table in policy.py."""

from .who import DESK, Row

TABLE: tuple[Row, ...] = (
    Row(
        "see the dispatcher's board",
        DESK,
        ("GET office:board", "GET office:board-digest", "GET office:board-map"),
    ),
    Row(
        "give tickets on the board",
        DESK,
        ("POST office:board-give", "POST office:board-take-back"),
    ),
    Row(
        "keep views of the board",
        DESK,
        ("POST office:board-view-save", "POST office:board-view-remove"),
    ),
    Row(
        "see through the API what a ticket would mean for each driver",
        DESK,
        ("GET api:dispatch-offers",),
    ),
    Row(
        "put tickets on runs through the API",
        DESK,
        ("POST api:dispatch-assign", "POST api:dispatch-unassign"),
    ),
)
