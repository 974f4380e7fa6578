"""The API described (OpenAPI 3.1): what each door declares, and every refusal it can give."""

import inspect
from typing import Any

from django.urls import resolve
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.utils import Direction, OpenApiParameter

from people import policy

from . import errors, idempotency, plain
from .about import ABOUT
from .permissions import roles_said
from .shapes import RowShape, Shape

PROBLEM_NAME = "Problem"
PROBLEM = {
    "type": "object",
    "description": "What was refused, where, and what would be right (RFC 9457).",
    "required": ["type", "title", "status", "detail", "code"],
    "properties": {
        "type": {"type": "string", "format": "uri", "description": "Stable; ends in the code."},
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "detail": {"type": "string", "description": "For people."},
        "code": {"type": "string", "description": "For programs; stable."},
        "instance": {"type": "string", "description": "The address that was asked."},
        "errors": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["detail", "code"],
                "properties": {
                    "pointer": {"type": "string", "description": "JSON pointer into the body."},
                    "parameter": {"type": "string", "description": "In the query."},
                    "header": {"type": "string"},
                    "detail": {"type": "string"},
                    "code": {"type": "string"},
                },
            },
        },
    },
}
OF_THE_CODE = {inspect.getdoc(one) for one in (Shape, RowShape)}
ALWAYS = (400, 403, 406, 429)
WRITING = (409, 413, 415, 422)
MATCHED = (412, 428)


class Schema(AutoSchema):
    """Reads what each door declares of itself (see doors.py) besides its serializers."""

    @property
    def door(self) -> Any:
        return getattr(
            getattr(self.view, getattr(self.view, "action", "") or "", None), "door", None
        )

    def get_auth(self) -> list[Any]:
        return [] if self.door is not None and self.door.public else super().get_auth()

    def get_tags(self) -> list[str]:
        return [self.path.removeprefix("/api/v1/").split("/")[0]]

    def get_operation_id(self) -> str:
        noun = getattr(self.view, "basename", None) or type(self.view).__name__.lower()
        return f"{noun}_{getattr(self.view, 'action', self.method.lower())}".replace("-", "_")

    def get_description(self) -> str:  # type: ignore[override]
        # Any id will do to find the route that the policy knows the door by.
        route = resolve(self.path.replace("{id}", "1")).view_name
        row = policy.row_for(self.method, route)
        if row is None:
            raise LookupError(f"the policy has no row for {self.method} {self.path}")
        match row.who:
            case policy.Anyone() as anyone:
                who = anyone.value
            case roles:
                who = f"the {roles_said(roles)}"
        return f"{super().get_description()}\n\nFor {who}.".strip()

    def get_override_parameters(self) -> list[Any]:
        door = self.door
        found: list[Any] = []
        if door is None:
            return found
        if door.takes_key:
            found.append(
                OpenApiParameter(
                    idempotency.HEADER,
                    str,
                    OpenApiParameter.HEADER,
                    required=door.key_required,
                    description="A text of your own, new for each write: 1 to 200 printable ASCII "
                    "characters. Sent again with the same bytes within a day, the write takes no "
                    "second effect and is answered alike.",
                )
            )
            found.append(
                OpenApiParameter(
                    idempotency.REPLAYED,
                    str,
                    OpenApiParameter.HEADER,
                    response=[door.status],
                    description="`true` when this is the answer to an earlier request.",
                )
            )
        if door.matched:
            found.append(
                OpenApiParameter(
                    "If-Match",
                    str,
                    OpenApiParameter.HEADER,
                    required=True,
                    description="The ETag of the state that the edit starts from, with its quotes.",
                )
            )
        if door.tagged:
            found.append(
                OpenApiParameter(
                    "ETag",
                    str,
                    OpenApiParameter.HEADER,
                    response=[door.status],
                    description="Names this state of the resource.",
                )
            )
            if self.method == "GET":
                found.append(
                    OpenApiParameter(
                        "If-None-Match",
                        str,
                        OpenApiParameter.HEADER,
                        description="An ETag; the answer is 304 when nothing changed.",
                    )
                )
        if door.paged:
            found.append(
                OpenApiParameter(
                    "Link",
                    str,
                    OpenApiParameter.HEADER,
                    response=[door.status],
                    description='The pages beside this one (RFC 8288): rel="next", rel="prev".',
                )
            )
        return found

    def get_filter_backends(self) -> list[Any]:
        door = self.door
        narrows = door is not None and (door.paged or door.filtered)
        return super().get_filter_backends() if narrows else []

    def _get_paginator(self) -> Any:
        return super()._get_paginator() if self.door is not None and self.door.paged else None

    def _get_response_bodies(self, direction: Direction = "response") -> dict[str, Any]:
        found = super()._get_response_bodies(direction)
        door = self.door
        statuses = {*ALWAYS, 401}
        if "{" in self.path:
            statuses.add(404)
        if self.method not in {"GET", "HEAD"}:
            statuses.update(WRITING)
        if door is not None and door.matched:
            statuses.update(MATCHED)
        if door is not None and door.tagged and self.method == "GET":
            found["304"] = {"description": "Nothing changed since the state named."}
        for status in sorted(statuses):
            found.setdefault(str(status), {"$ref": f"#/components/responses/Problem{status}"})
        return found


def add_problems(
    result: dict[str, Any], generator: Any, request: Any, public: bool
) -> dict[str, Any]:
    """Add the shape of a problem and one shared response for each status it comes with."""
    result["info"]["description"] = ABOUT.strip()
    components = result.setdefault("components", {})
    schemas = components.setdefault("schemas", {})
    for schema in schemas.values():
        # What the code says of itself is nothing to those who call.
        if schema.get("description") in OF_THE_CODE:
            del schema["description"]
    schemas[PROBLEM_NAME] = PROBLEM
    schemas.update(plain.PARTS)
    content = {errors.MEDIA_TYPE: {"schema": {"$ref": f"#/components/schemas/{PROBLEM_NAME}"}}}
    responses: dict[str, Any] = {}
    for status in sorted({*ALWAYS, *WRITING, *MATCHED, 401, 404}):
        responses[f"Problem{status}"] = {
            "description": errors.TITLES[status],
            "content": content,
        }
    responses["Problem429"]["headers"] = {
        "Retry-After": {"schema": {"type": "integer"}, "description": "Seconds."}
    }
    responses["Problem401"]["headers"] = {"WWW-Authenticate": {"schema": {"type": "string"}}}
    components["responses"] = responses
    return result


class DeviceTokenScheme(OpenApiAuthenticationExtension):
    """How the schema names device tokens."""

    target_class = "api.authentication.DeviceTokenAuthentication"
    name = "deviceToken"

    def get_security_definition(self, auto_schema: object) -> dict[str, str]:
        return {
            "type": "http",
            "scheme": "bearer",
            "description": "A device token; POST /api/v1/tokens gives one.",
        }


class SessionScheme(OpenApiAuthenticationExtension):
    """How the schema names the desk's session."""

    target_class = "api.authentication.SessionAuthentication"
    name = "deskSession"

    def get_security_definition(self, auto_schema: object) -> dict[str, str]:
        return {
            "type": "apiKey",
            "in": "cookie",
            "name": "sessionid",
            "description": "The session of somebody signed in at the desk; "
            "unsafe methods also send X-CSRFToken.",
        }
