"""The API's description of itself, and pages to read and try it without the internet."""

from functools import cache
from typing import Any

from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.utils import extend_schema
from drf_spectacular.views import SpectacularSwaggerSplitView
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView


@cache
def described() -> dict[str, Any]:
    """The whole description; it cannot change while the process lives."""
    return SchemaGenerator().get_schema(request=None, public=True)


class OpenApi(APIView):
    """The description, for machines."""

    authentication_classes = ()

    @extend_schema(exclude=True)
    def get(self, request: Request) -> Response:
        return Response(described(), content_type="application/vnd.oai.openapi+json")


class Docs(SpectacularSwaggerSplitView):
    """The description, for people."""

    authentication_classes = ()
    permission_classes = OpenApi.permission_classes
    template_name = "api/docs.html"
    url_name = "api:openapi"
