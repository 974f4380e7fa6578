"""What every page of the desk shows around its own matter."""

from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest
from django.urls import reverse
from django.utils.functional import SimpleLazyObject

from people import policy
from people.models import Business

# Words in the head of the page, the route they lead to, and whether they stand apart from the
# day's work: what is looked at daily first, what is set up once after it.
NAV = (
    ("Today", "today", False),
    ("My day", "road-day", False),
    ("Runs", "runs", False),
    ("Fleet", "fleet", False),
    ("Fit", "fit", False),
    ("Changeovers", "changeovers", False),
    ("Reads", "reads", False),
    ("Demand", "fits", False),
    ("Stock", "stock", False),
    ("Products", "products", True),
    ("Packages", "packages", True),
    ("Kinds", "kinds", True),
    ("Sites", "sites", True),
    ("People", "people", True),
    ("Business", "business", True),
)


@dataclass(frozen=True)
class NavItem:
    words: str
    address: str
    current: bool
    apart: bool


def desk(request: HttpRequest) -> dict[str, Any]:
    """`business`, `units` and `zone` (asked for at most once a page), and `nav` for this person."""
    business = SimpleLazyObject(Business.the)
    return {
        "business": business,
        "nav": SimpleLazyObject(lambda: _nav(request)),
    }


def _nav(request: HttpRequest) -> list[NavItem]:
    user = getattr(request, "user", None)
    if user is None or not user.is_authenticated:
        return []
    found: list[NavItem] = []
    started_apart = False
    for words, route, apart in NAV:
        if policy.allows(user, policy.row_for("GET", f"office:{route}")):
            address = reverse(f"office:{route}")
            here = request.path == address or (address != "/" and request.path.startswith(address))
            found.append(NavItem(words, address, here, apart and not started_apart))
            started_apart = started_apart or apart
    return found
