"""Tests that run side by side do not share what they count in the cache or send to the broker."""

import os

from django.conf import settings


def test_the_settings_were_read_after_this_worker_had_its_own_redis_database() -> None:
    worker = os.environ.get("PYTEST_XDIST_WORKER")
    number = 0 if worker is None else int(worker.removeprefix("gw")) + 1
    assert settings.CELERY_BROKER_URL.endswith(f"/{number}")
    assert settings.CACHES["default"]["LOCATION"] == os.environ["REDIS_URL"]
