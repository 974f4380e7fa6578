"""The addresses of version 1. Each needs a row in people/policy.py for every method it takes."""

from django.urls import URLPattern, URLResolver, path

from . import description

app_name = "api"
urlpatterns: list[URLPattern | URLResolver] = [
    path("openapi.json", description.OpenApi.as_view(), name="openapi"),
    path("docs", description.Docs.as_view(), name="docs"),
]
