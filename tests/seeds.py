"""The rows that migrations put into the tables, restored after the tests that empty all tables.

A test that commits (races, the live service) is cleaned up by emptying every table, which takes
along what the service is delivered with; the next test would find a service that never was.
"""

from collections.abc import Iterator

import pytest
from django.apps import apps
from django.db import models
from pytest_django.plugin import DjangoDbBlocker, blocking_manager_key

MADE_AGAIN_BY_DJANGO = {"auth", "contenttypes"}
COMMITS = {"transactional_db", "live_server"}
kept: dict[type[models.Model], list[models.Model]] = {}


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> None:
    """The test database, with its first rows remembered."""
    with django_db_blocker.unblock():
        for model in apps.get_models():
            if model._meta.app_label not in MADE_AGAIN_BY_DJANGO:
                rows = list(model._base_manager.all())
                if rows:
                    kept[model] = rows


@pytest.hookimpl(wrapper=True)
def pytest_runtest_teardown(item: pytest.Item, nextitem: pytest.Item | None) -> Iterator[None]:
    try:
        yield
    finally:
        # Whatever failed at this test's end, the next one finds the service as it is delivered.
        if nextitem is not None and kept and _commits(item):
            with item.config.stash[blocking_manager_key].unblock():
                for model, rows in kept.items():
                    model._base_manager.bulk_create(rows)


def _commits(item: pytest.Item) -> bool:
    marker = item.get_closest_marker("django_db")
    return bool(
        COMMITS & set(getattr(item, "fixturenames", ()))
        or (marker and marker.kwargs.get("transaction"))
    )
