"""Every address of the service. Each needs a row in people/policy.py or it answers 403."""

from django.urls import include, path

from . import health

urlpatterns = [
    path("healthz", health.healthz, name="healthz"),
    path("readyz", health.readyz, name="readyz"),
    path("api/v1/", include("api.v1.urls")),
    path("", include("office.urls")),
]
