"""Is the process alive, and is it ready to work."""

import redis
from django.conf import settings
from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor
from django.http import HttpRequest, JsonResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe


@never_cache
@require_safe
def healthz(request: HttpRequest) -> JsonResponse:
    """The process answers. Touches nothing else, so that a database fault does not restart it."""
    return JsonResponse({"status": "ok"})


@never_cache
@require_safe
def readyz(request: HttpRequest) -> JsonResponse:
    """Database reachable, migrations applied, broker reachable: 200, else 503 with which is not."""
    found = {"database": _database(), "migrations": "not looked at", "broker": _broker()}
    if found["database"] == "ok":
        found["migrations"] = _migrations()
    ready = all(state == "ok" for state in found.values())
    return JsonResponse(
        {"status": "ok" if ready else "not ready", **found}, status=200 if ready else 503
    )


def _database() -> str:
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
    except DatabaseError:
        return "unreachable"
    return "ok"


def _migrations() -> str:
    executor = MigrationExecutor(connection)
    behind = executor.migration_plan(executor.loader.graph.leaf_nodes())
    return f"{len(behind)} not applied" if behind else "ok"


def _broker() -> str:
    client = redis.Redis.from_url(
        settings.CELERY_BROKER_URL, socket_connect_timeout=2, socket_timeout=2
    )
    try:
        client.ping()
    except redis.RedisError:
        return "unreachable"
    finally:
        client.close()
    return "ok"
