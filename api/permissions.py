"""The policy at the API's doors: the same table as the desk asks, deny by default."""

from typing import TYPE_CHECKING, Any

from rest_framework.exceptions import MethodNotAllowed
from rest_framework.permissions import BasePermission
from rest_framework.request import Request

from people import policy
from people.roles import Role

if TYPE_CHECKING:
    from rest_framework.views import APIView


class PolicyPermission(BasePermission):
    """Asks people.policy about the route and method. A door that no row names is shut."""

    def has_permission(self, request: Request, view: "APIView") -> bool:
        method = request.method or ""
        if not hasattr(view, method.lower()):
            raise MethodNotAllowed(method)
        match = request.resolver_match
        row = policy.row_for(method, match.view_name) if match is not None else None
        self.message = _for_whom(row, request.user)
        return policy.allows(request.user, row)


def _for_whom(row: policy.Row | None, person: Any) -> str:
    if row is None or isinstance(row.who, policy.Anyone):
        return "nobody may do this here"
    yours = [str(role) for role in Role if role in getattr(person, "roles", ())]
    return f"this is for the {roles_said(row.who)}; yours: {', '.join(yours) or 'none'}"


def roles_said(who: frozenset[Role]) -> str:
    """Roles in words: `roles owner and dispatcher`."""
    *others, last = [str(role) for role in Role if role in who]
    return f"roles {', '.join(others)} and {last}" if others else f"role {last}"
