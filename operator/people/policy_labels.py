"""Who may do what with calorie signs, access and energy: rows of the one table in policy.py."""

from .who import DESK, ROAD, STAFF, Row

TABLE: tuple[Row, ...] = (
    Row(
        "see calorie signs, access and energy of machines",
        STAFF,
        (
            "GET office:compliance-labels",
            "GET office:compliance-signs",
            "GET office:compliance-signs-file",
            "GET office:compliance-access",
            "GET office:compliance-access-machine",
            "GET office:compliance-energy",
            "GET office:compliance-energy-machine",
            "GET api:label-settings",
            "GET api:calorie-sign-list",
            "GET api:calorie-sign-detail",
            "GET api:access-check-list",
            "GET api:access-check-detail",
            "GET api:energy-reading-list",
            "GET api:energy-reading-detail",
        ),
    ),
    Row(
        "write down what was measured of access and energy",
        ROAD,
        (
            "POST office:compliance-access-measure",
            "POST office:compliance-access-set-aside",
            "POST office:compliance-energy-measure",
            "POST office:compliance-energy-set-aside",
            "POST api:access-check-list",
            "POST api:access-check-set-aside",
            "POST api:energy-reading-list",
            "POST api:energy-reading-set-aside",
        ),
    ),
    Row(
        "say whether calories are registered and whom signs name",
        DESK,
        ("POST office:compliance-labels-keep", "PATCH api:label-settings"),
    ),
)
