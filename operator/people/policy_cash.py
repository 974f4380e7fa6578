"""Who may do what with cash between the machine and the bank: rows of the one table in policy.py.

Drivers seal bags through their run, and neither see nor tell an amount.
"""

from .who import MONEY, OWNER, READS, Row

TABLE: tuple[Row, ...] = (
    Row(
        "follow cash to the bank, and see over and short",
        READS,
        (
            "GET office:bags-custody",
            "GET office:bankings",
            "GET office:bankings-export",
            "GET office:banking",
            "GET office:cash-floats",
            "GET office:cash-differences",
            "GET office:cash-differences-export",
            "GET api:bag-expected",
            "GET api:custody",
            "GET api:cash-limits",
            "GET api:banking-list",
            "GET api:banking-detail",
            "GET api:banking-export",
            "GET api:tube-fill-list",
            "GET api:tube-fill-detail",
            "GET api:float-line-list",
            "GET api:float-line-detail",
            "GET api:host-float-list",
            "GET api:cash-differences",
        ),
    ),
    Row(
        "receive bags, say what happened to them, and write down change that lies out",
        READS,
        (
            "POST office:bags-receive",
            "POST office:bag-step",
            "POST office:tubes-fill",
            "POST office:float-move",
            "POST api:bag-receive",
            "POST api:bag-steps",
            "POST api:tube-fill-list",
            "POST api:float-line-list",
        ),
    ),
    Row(
        "say how long cash may wait",
        OWNER,
        ("GET office:cash-limits", "POST office:cash-limits", "PATCH api:cash-limits"),
    ),
    Row(
        "bank bags, and say what the bank received",
        MONEY,
        (
            "POST office:banking-add",
            "POST office:banking-confirm",
            "POST office:banking-take-back",
            "POST api:banking-list",
            "POST api:banking-confirm",
            "POST api:banking-take-back",
        ),
    ),
)
