"""Who may do what with stock and buying: rows of the one table in policy.py."""

from .who import DESK, READS, ROAD, STAFF, Row

TABLE: tuple[Row, ...] = (
    Row(
        "see stock, counts and movements through the API",
        STAFF,
        (
            "GET api:stock-place-list",
            "GET api:stock-place-export",
            "GET api:stock-place-detail",
            "GET api:stock-place-levels",
            "GET api:stock-level-list",
            "GET api:stock-level-export",
            "GET api:dated-stock-list",
            "GET api:dated-stock-export",
            "GET api:stock-movement-list",
            "GET api:stock-movement-export",
            "GET api:stock-movement-detail",
            "GET api:stock-count-list",
            "GET api:stock-count-detail",
        ),
    ),
    Row(
        "move, waste and count stock through the API",
        ROAD,
        (
            "POST api:stock-movement-transfers",
            "POST api:stock-movement-waste",
            "POST api:stock-count-list",
        ),
    ),
    Row(
        "open warehouses and trucks, and take movements back, through the API",
        DESK,
        ("POST api:stock-place-list", "POST api:stock-movement-correct"),
    ),
    Row(
        "see suppliers, orders and receipts through the API",
        STAFF,
        (
            "GET api:supplier-list",
            "GET api:supplier-detail",
            "GET api:supplier-item-list",
            "GET api:supplier-item-export",
            "GET api:supplier-item-detail",
            "GET api:order-list",
            "GET api:order-export",
            "GET api:order-detail",
            "GET api:order-suggestions",
            "GET api:receipt-list",
            "GET api:receipt-export",
            "GET api:receipt-detail",
        ),
    ),
    Row(
        "see what waste and costs came to through the API",
        READS,
        ("GET api:cost-list", "GET api:waste-list"),
    ),
    Row(
        "buy through the API",
        DESK,
        (
            "POST api:supplier-list",
            "PATCH api:supplier-detail",
            "POST api:supplier-items",
            "DELETE api:supplier-item-detail",
            "POST api:order-list",
            "POST api:order-suggested",
            "PATCH api:order-detail",
            "POST api:order-place",
            "POST api:order-cancel",
            "POST api:receipt-list",
            "POST api:receipt-take-back",
        ),
    ),
)
