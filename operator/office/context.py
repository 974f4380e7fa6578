"""What every page of the desk shows around its own matter."""

from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest
from django.urls import reverse
from django.utils.functional import SimpleLazyObject

from people import policy
from people.models import Business
from people.queries import notices_of

# The head of the page: what is looked at all day stands by itself, the rest under a heading. Words,
# and the route they lead to; a route that the policy lets nobody through is not shown.
NAV: tuple[tuple[str, tuple[tuple[str, str], ...]], ...] = (
    (
        "",
        (
            ("Today", "today"),
            ("My day", "road-day"),
            ("Board", "board"),
            ("Tickets", "tickets"),
            ("Runs", "runs"),
        ),
    ),
    (
        "Machines",
        (
            ("Fleet", "fleet"),
            ("Fit", "fit"),
            ("Changeovers", "changeovers"),
            ("Reads", "reads"),
            ("Watch", "watch"),
            ("Upkeep", "upkeep"),
            ("Kinds", "kinds"),
            ("Sites", "sites"),
            ("Stickers", "stickers"),
        ),
    ),
    (
        "Goods",
        (
            ("Stock", "stock"),
            ("Demand", "fits"),
            ("Products", "products"),
            ("Packages", "packages"),
        ),
    ),
    (
        "Money",
        (
            ("Bags", "bags"),
            ("Settlements", "settlements"),
            ("Commission", "commission"),
            ("Tax", "tax"),
            ("Earnings", "earnings"),
        ),
    ),
    (
        "Compliance",
        (
            ("Duties", "duties"),
            ("Temperatures", "temperatures"),
            ("Dates", "dates"),
            ("Recalls", "recalls"),
            ("Labels", "compliance-labels"),
            ("Access", "compliance-access"),
            ("Energy", "compliance-energy"),
        ),
    ),
    (
        "Office",
        (
            ("Promises", "promises"),
            ("Webhooks", "webhooks"),
            ("People", "people"),
            ("Business", "business"),
        ),
    ),
)


@dataclass(frozen=True)
class NavItem:
    words: str
    address: str
    current: bool


@dataclass(frozen=True)
class NavGroup:
    """Parts of the desk under a heading; without one they stand by themselves."""

    words: str
    items: tuple[NavItem, ...]

    @property
    def current(self) -> bool:
        return any(one.current for one in self.items)


def desk(request: HttpRequest) -> dict[str, Any]:
    """`business`, `units` and `zone` (asked for at most once a page), `nav` for this person,
    and how much they were told and have not seen (`unseen`)."""
    business = SimpleLazyObject(Business.the)
    return {
        "business": business,
        "nav": SimpleLazyObject(lambda: _nav(request)),
        "unseen": SimpleLazyObject(lambda: _unseen(request)),
    }


def _unseen(request: HttpRequest) -> int:
    """How much this person was told and has not seen."""
    user = getattr(request, "user", None)
    if user is None or not user.is_authenticated:
        return 0
    return notices_of(user).filter(seen_at__isnull=True).count()


def _nav(request: HttpRequest) -> list[NavGroup]:
    user = getattr(request, "user", None)
    if user is None or not user.is_authenticated:
        return []
    found: list[NavGroup] = []
    for heading, parts in NAV:
        items = []
        for words, route in parts:
            if policy.allows(user, policy.row_for("GET", f"office:{route}")):
                address = reverse(f"office:{route}")
                here = request.path == address
                here |= address != "/" and request.path.startswith(address)
                items.append(NavItem(words, address, here))
        if items:
            # One part alone needs no heading to be found under.
            found.append(NavGroup(heading if len(items) > 1 else "", tuple(items)))
    return found
