"""Who may do what, through which door: the one table, deny by default.

A row says what can be done in plain words, who may, and the doors that do it, each as
"METHOD namespace:route". A route and method that no row names is refused for everybody, and a test
walks every address of the service to prove that none was forgotten. HEAD counts as GET. Rows of a
large part of the business stand in a module of their own, `policy_*.py`.
"""

from . import (
    policy_board,
    policy_cash,
    policy_commission,
    policy_compliance,
    policy_demand,
    policy_earnings,
    policy_labels,
    policy_public,
    policy_road,
    policy_runs,
    policy_stock,
    policy_tax,
    policy_ticket_doors,
    policy_upkeep,
    policy_watch,
)
from .models import Person
from .who import DESK, MONEY, OWNER, READS, ROAD, STAFF, Anyone, Row

__all__ = [
    "BY_DOOR",
    "BY_NAME",
    "DESK",
    "MONEY",
    "OWNER",
    "READS",
    "ROAD",
    "STAFF",
    "TABLE",
    "Anyone",
    "Row",
    "allows",
    "may",
    "row_for",
]

TABLE: tuple[Row, ...] = (
    Row("ask whether the service is well", Anyone.PUBLIC, ("GET healthz", "GET readyz")),
    # The API
    Row("read what the API offers", Anyone.PUBLIC, ("GET api:openapi", "GET api:docs")),
    Row("sign a device in with a password", Anyone.PUBLIC, ("POST api:token-list",)),
    Row(
        "look after one's own device tokens through the API",
        Anyone.SIGNED_IN,
        (
            "GET api:me",
            "GET api:token-list",
            "GET api:token-detail",
            "POST api:token-revoke",
            "POST api:person-tokens",
        ),
    ),
    Row(
        "see who works here through the API",
        STAFF,
        ("GET api:person-list", "GET api:person-detail"),
    ),
    Row(
        "change who works here through the API",
        OWNER,
        (
            "POST api:person-list",
            "PATCH api:person-detail",
            "POST api:person-let-go",
            "POST api:person-take-back",
        ),
    ),
    Row("see the business's settings through the API", STAFF, ("GET api:business",)),
    Row("change the business's settings through the API", OWNER, ("PATCH api:business",)),
    Row("read the audit trail through the API", READS, ("GET api:audit-entry-list",)),
    Row(
        "see the fleet and ask what fits through the API",
        STAFF,
        (
            "GET api:kind-list",
            "GET api:kind-detail",
            "GET api:position-fit",
            "GET api:package-list",
            "GET api:package-detail",
            "GET api:product-list",
            "GET api:product-detail",
            "GET api:product-where-fits",
            "GET api:site-list",
            "GET api:site-detail",
            "GET api:machine-list",
            "GET api:machine-detail",
            "GET api:machine-columns",
            "GET api:machine-placements",
            "GET api:machine-ways-of-paying",
            "GET api:column-detail",
            "GET api:column-fit",
            "GET api:column-what-fits",
            "GET api:set-up-list",
            "GET api:set-up-detail",
            "GET api:chart-entry-list",
            "GET api:chart-entry-detail",
            "GET api:changeover-plan-list",
            "GET api:changeover-plan-detail",
            "GET api:changeover-list",
            "GET api:changeover-detail",
            "GET api:changeover-sheet",
            "POST api:fit-list",
        ),
    ),
    Row(
        "change the fleet and plan changeovers through the API",
        DESK,
        (
            "POST api:kind-list",
            "PATCH api:kind-detail",
            "DELETE api:kind-detail",
            "POST api:package-list",
            "PATCH api:package-detail",
            "POST api:product-list",
            "PATCH api:product-detail",
            "POST api:site-list",
            "PATCH api:site-detail",
            "POST api:machine-list",
            "PATCH api:machine-detail",
            "POST api:machine-placements",
            "POST api:machine-ways-of-paying",
            "POST api:column-record-as-found",
            "POST api:chart-entry-list",
            "PATCH api:chart-entry-detail",
            "DELETE api:chart-entry-detail",
            "POST api:changeover-plan-list",
            "POST api:changeover-plan-replacements",
        ),
    ),
    Row("hand in audit reads through the API", ROAD, ("POST api:read-list",)),
    Row(
        "see what was sold and taken through the API",
        READS,  # a driver sees no takings, and what a read says in full is takings
        (
            "GET api:read-detail",
            "GET api:machine-interval-list",
            "GET api:machine-interval-detail",
            "GET api:sale-interval-list",
            "GET api:sale-interval-detail",
            "GET api:sales-total-list",
            "GET api:epoch-decision-detail",
        ),
    ),
    Row(
        "see reads and events through the API",
        STAFF,
        (
            "GET api:read-list",
            "GET api:event-list",
            "GET api:event-occurrence-list",
            "GET api:event-meaning-list",
            "GET api:event-meaning-detail",
        ),
    ),
    Row(
        "decide about reads, and see the files themselves, through the API",
        DESK,
        (
            # A file may hold the machine's passwords, so it is not for everybody.
            "GET api:read-raw",
            "POST api:read-match",
            "POST api:read-match-again",
            "POST api:read-accept",
            "POST api:read-set-aside",
            "POST api:machine-interval-decisions",
            "POST api:epoch-decision-withdraw",
        ),
    ),
    Row(
        "name what events mean through the API",
        DESK,
        (
            "POST api:event-meaning-list",
            "PATCH api:event-meaning-detail",
            "DELETE api:event-meaning-detail",
        ),
    ),
    Row(
        "carry out changeovers through the API",
        ROAD,
        (
            "POST api:changeover-take",
            "POST api:changeover-complete",
            "POST api:changeover-abandon",
        ),
    ),
    # The office
    Row(
        "sign in, and set a forgotten password",
        Anyone.PUBLIC,
        (
            "GET office:sign-in",
            "POST office:sign-in",
            "GET office:forgotten",
            "POST office:forgotten",
            "GET office:set-password",
            "POST office:set-password",
        ),
    ),
    Row(
        "look after one's own account",
        Anyone.SIGNED_IN,
        (
            "GET office:today",
            "POST office:sign-out",
            "GET office:own-page",
            "POST office:change-password",
            "POST office:make-token",
            "POST office:revoke-token",
        ),
    ),
    Row("see who works here", STAFF, ("GET office:people",)),
    Row(
        "manage people and the business's settings",
        OWNER,
        (
            "GET office:person-add",
            "POST office:person-add",
            "GET office:person",
            "POST office:person",
            "POST office:person-let-go",
            "POST office:person-take-back",
            "POST office:person-letter",
            "GET office:business",
            "POST office:business",
        ),
    ),
    Row(
        "see the fleet and ask what fits",
        STAFF,
        (
            "GET office:fleet",
            "GET office:machine",
            "GET office:fit",
            "GET office:column",
            "GET office:fit-product",
            "GET office:products",
            "GET office:product",
            "GET office:packages",
            "GET office:package",
            "GET office:kinds",
            "GET office:kind",
            "GET office:chart",
            "GET office:sites",
            "GET office:site",
            "GET office:changeovers",
            "GET office:plan-page",
            "GET office:changeover",
        ),
    ),
    Row(
        "keep machines, kinds, products and sites",
        DESK,
        (
            "GET office:machine-add",
            "POST office:machine-add",
            "GET office:machine-change",
            "POST office:machine-change",
            "POST office:machine-place",
            "POST office:machine-pay",
            "GET office:machine-wire",
            "POST office:machine-wire",
            "GET office:product-add",
            "POST office:product-add",
            "GET office:product-change",
            "POST office:product-change",
            "GET office:package-add",
            "POST office:package-add",
            "GET office:package-change",
            "POST office:package-change",
            "POST office:package-draw",
            "GET office:kind-add",
            "POST office:kind-add",
            "GET office:kind-change",
            "POST office:kind-change",
            "POST office:kind-draw",
            "POST office:chart",
            "POST office:chart-remove",
            "GET office:site-add",
            "POST office:site-add",
            "GET office:site-change",
            "POST office:site-change",
        ),
    ),
    Row(
        "plan changeovers",
        DESK,
        (
            "GET office:plan",
            "POST office:plan",
            "GET office:replace",
            "POST office:replace",
            "GET office:as-found",
            "POST office:as-found",
        ),
    ),
    Row(
        "carry out changeovers",
        ROAD,
        (
            "POST office:changeover-take",
            "POST office:changeover-abandon",
            "GET office:as-left",
            "POST office:as-left",
        ),
    ),
    Row(
        "see audit reads",
        STAFF,
        ("GET office:reads", "GET office:read", "GET office:meanings", "GET office:meaning"),
    ),
    Row("hand in audit files", ROAD, ("POST office:reads-upload",)),
    Row(
        "decide about audit reads",
        DESK,
        (
            "POST office:reads-match-again",
            "POST office:read-match",
            "POST office:read-accept",
            "POST office:read-set-aside",
            "POST office:read-decide",
            "POST office:meaning",
        ),
    ),
    # Demand, at both doors
    *policy_demand.TABLE,
    # The public, and what they are promised
    *policy_public.TABLE,
    # Stock and buying, at both doors
    *policy_stock.TABLE,
    *policy_tax.TABLE,
    *policy_runs.TABLE,
    *policy_road.TABLE,
    *policy_board.TABLE,
    *policy_ticket_doors.TABLE,
    *policy_watch.TABLE,
    *policy_cash.TABLE,
    *policy_commission.TABLE,
    *policy_upkeep.TABLE,
    *policy_earnings.TABLE,
    *policy_compliance.TABLE,
    *policy_labels.TABLE,
)


def _index(table: tuple[Row, ...]) -> dict[str, Row]:
    found: dict[str, Row] = {}
    for row in table:
        for door in row.doors:
            if door in found:
                raise ValueError(f"{door} stands in two rows: {found[door].can!r} and {row.can!r}")
            found[door] = row
    return found


BY_DOOR = _index(TABLE)
BY_NAME = {row.can: row for row in TABLE}


def row_for(method: str, route: str) -> Row | None:
    """The row that governs a door, or None when nobody may pass."""
    return BY_DOOR.get(f"{'GET' if method == 'HEAD' else method} {route}")


def allows(person: object, row: Row | None) -> bool:
    """Whether a person (or an anonymous visitor) may pass where `row` governs."""
    if row is None:
        return False
    if row.who is Anyone.PUBLIC:
        return True
    if not isinstance(person, Person) or not person.is_active:
        return False
    return row.who is Anyone.SIGNED_IN or person.has_role(*row.who)


def may(person: object, can: str) -> bool:
    """Whether a person may do what a row names. Raises KeyError for words that no row uses."""
    return allows(person, BY_NAME[can])
