"""A real browser at desk and at phone width. A console error or a failing script fails the test."""

import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.db import connections
from django.test import Client
from playwright.sync_api import Browser, ConsoleMessage, Page, expect, sync_playwright

DESK = {"viewport": {"width": 1280, "height": 900}}
PHONE = {
    "viewport": {"width": 390, "height": 844},
    "device_scale_factor": 2,
    "is_mobile": True,
    "has_touch": True,
}
FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
WAITS_MS = 30_000
"""How long a page may take on a machine that does much else beside; none is that slow alone."""
PICTURES = Path(__file__).resolve().parents[2] / ".cache" / "journeys"


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    here = Path(__file__).parent
    for item in items:
        if here in item.path.parents:
            item.add_marker(pytest.mark.journey)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    # Playwright keeps an event loop in this thread, where Django would refuse the database.
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "1"
    chromium = shutil.which("chromium")
    if chromium is None:
        pytest.fail("the journeys need chromium; `sh tests/run` installs it")
    expect.set_options(timeout=WAITS_MS)
    with sync_playwright() as playwright:
        launched = playwright.chromium.launch(executable_path=chromium, args=FLAGS)
        yield launched
        launched.close()
        # Django holds another connection inside an event loop than outside. This one is lost from
        # sight when the loop ends, and would keep the test database from being dropped.
        connections.close_all()
    del os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"]


def is_fault(said: ConsoleMessage) -> bool:
    # Chromium notes the answer to a refused form as an error; the page shows it beside its field.
    refused = any(f"responded with a status of {status}" in said.text for status in (409, 422))
    # Only a journey itself cuts the network; the page says so.
    cut = "net::ERR_INTERNET_DISCONNECTED" in said.text
    return said.type == "error" and not refused and not cut


def page_on(browser: Browser, base_url: str, shape: dict[str, Any]) -> Iterator[Page]:
    """A page of its own session; what the browser complains of fails the test at its end."""
    wrong: list[str] = []
    with browser.new_context(base_url=base_url, **shape) as context:
        context.set_default_timeout(WAITS_MS)
        page = context.new_page()
        page.on("console", lambda said: wrong.append(said.text) if is_fault(said) else None)
        page.on("pageerror", lambda error: wrong.append(str(error)))
        yield page
    assert not wrong, f"the browser's console said: {wrong}"


@pytest.fixture
def desk_page(live: Any, browser: Browser) -> Iterator[Page]:
    """A page as wide as a desk's screen, on the live service."""
    yield from page_on(browser, live.url, DESK)


@pytest.fixture
def phone_page(live: Any, browser: Browser) -> Iterator[Page]:
    """A page 390 pixels wide, with touch, on the live service."""
    yield from page_on(browser, live.url, PHONE)


@pytest.fixture
def sign_in(live: Any) -> Callable[[Page, Any], None]:
    """Signs a person in on a page without the form, which has a journey of its own."""

    def put_cookie(page: Page, person: Any) -> None:
        client = Client()
        client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
        cookie = client.cookies["sessionid"]
        page.context.add_cookies(
            [{"name": cookie.key, "value": cookie.value, "url": live.url, "httpOnly": True}]
        )

    return put_cookie


@pytest.fixture
def axe() -> Callable[[Page], None]:
    """Asserts that a page breaks no accessibility rule that axe-core knows."""

    def assert_accessible(page: Page) -> None:
        found = Axe().run(page)
        said = [
            f"{rule['id']} ({rule['impact']}): {rule['help']}; {node['target']}: {node['html']}"
            for rule in found.response["violations"]
            for node in rule["nodes"]
        ]
        assert not said, f"{page.url} at {page.viewport_size}:\n" + "\n".join(said)

    return assert_accessible


@pytest.fixture
def picture() -> Callable[..., Path]:
    """Keeps a picture of a page under its name, for a look and for the tour in README.md."""

    def take(page: Page, name: str, **options: Any) -> Path:
        PICTURES.mkdir(parents=True, exist_ok=True)
        path = PICTURES / f"{name}.png"
        page.screenshot(path=path, **options)
        return path

    return take
