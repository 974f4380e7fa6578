"""Starts the servers that the tests run on, and Django on them, before any test module is read."""

import os
import shutil
import tempfile
from contextlib import ExitStack
from pathlib import Path

import django
import hypothesis
import pytest
from django.core.cache import cache

# What needs Django set up before it is imported; see each module for its fixtures.
FIXTURES = (
    "tests.cast",
    "tests.world",
    "tests.live",
    "tests.callers",
    "tests.seeds",
    "tests.fleet.inventory.stores",
    "tests.fleet.sales.carded",
    "tests.service.compliance.taxed",
    "tests.service.runs.roadwork",
    "tests.service.tickets.ticketwork",
    "tests.service.upkeep.plans",
    "tests.service.earnings.earner",
)
SETTINGS = {
    "COLONNADE_SECRET_KEY": "only-in-the-tests-" * 4,
    "COLONNADE_HOSTS": "testserver,localhost,127.0.0.1",
    "COLONNADE_HTTPS": "0",
    "COLONNADE_LOG_LEVEL": "WARNING",
    "DJANGO_SETTINGS_MODULE": "config.settings",
}
started = ExitStack()
# How long an example takes says more about the machine's load than about the code.
hypothesis.settings.register_profile("colonnade", deadline=None)
hypothesis.settings.load_profile("colonnade")


def pytest_configure(config: pytest.Config) -> None:
    """The first process starts the servers; xdist's workers inherit their addresses."""
    if config.getoption("help") or config.getoption("version"):
        return
    worker = os.environ.get("PYTEST_XDIST_WORKER")
    if worker is None:
        _start_servers()
    else:
        # pytest-django gives each worker a database of its own; this is the like for Redis.
        server, _, _ = os.environ["REDIS_URL"].rpartition("/")
        os.environ["REDIS_URL"] = f"{server}/{int(worker.removeprefix('gw')) + 1}"
        os.environ["DJANGO_SETTINGS_MODULE"] = SETTINGS["DJANGO_SETTINGS_MODULE"]
    django.setup()
    if worker is None and config.getoption("numprocesses", None):
        # A worker that inherits this reads the settings before it has its own Redis database, and
        # then empties the cache under another's test.
        del os.environ["DJANGO_SETTINGS_MODULE"]
    _serve_static_files_as_they_lie()
    for name in FIXTURES:
        config.pluginmanager.import_plugin(name)


def pytest_unconfigure() -> None:
    started.close()


@pytest.fixture(autouse=True)
def _nothing_counted_yet(request: pytest.FixtureRequest) -> None:
    """Throttles count in the cache; what one test asked for must not slow down another."""
    touches = {"db", "transactional_db"} & set(request.fixturenames)
    if touches or request.node.get_closest_marker("django_db"):
        cache.clear()


def _start_servers() -> None:
    from config import embedded

    for name in [name for name in os.environ if name.startswith("COLONNADE_")]:
        del os.environ[name]  # a developer's own settings must not decide a test
    folder = Path(tempfile.mkdtemp(prefix="colonnade-tests-"))
    started.callback(shutil.rmtree, folder, ignore_errors=True)
    servers = started.enter_context(embedded.running(folder, durable=False))
    static = folder / "static"
    static.mkdir()  # the web process wants the folder, were it empty
    os.environ.update(servers.variables() | SETTINGS | {"COLONNADE_STATIC_FOLDER": str(static)})


def _serve_static_files_as_they_lie() -> None:
    # Production's hashed names exist only once the files are collected, as for the live service.
    from django.conf import settings

    plain = "django.contrib.staticfiles.storage.StaticFilesStorage"
    settings.STORAGES = {**settings.STORAGES, "staticfiles": {"BACKEND": plain}}
