"""The policy at the API's doors: the same table as the desk asks, deny by default."""

from typing import TYPE_CHECKING

from rest_framework.exceptions import MethodNotAllowed
from rest_framework.permissions import BasePermission
from rest_framework.request import Request

from people import policy

if TYPE_CHECKING:
    from rest_framework.views import APIView


class PolicyPermission(BasePermission):
    """Asks people.policy about the route and method. A door that no row names is shut."""

    message = "your roles do not open this"

    def has_permission(self, request: Request, view: "APIView") -> bool:
        method = request.method or ""
        if not hasattr(view, method.lower()):
            raise MethodNotAllowed(method)
        match = request.resolver_match
        row = policy.row_for(method, match.view_name) if match is not None else None
        return policy.allows(request.user, row)
