"""The journeys' own instruments: each really fails a test that it should fail."""

from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from tests.journeys.conftest import DESK, page_on


@pytest.mark.parametrize(
    "program",
    ["console.error('a broken drawing')", "setTimeout(() => { throw Error('a broken drawing') })"],
)
def test_a_complaint_of_the_browser_fails_the_test(
    live: Any, browser: Browser, program: str
) -> None:
    pages = page_on(browser, live.url, DESK)
    page = next(pages)
    page.goto("/healthz")
    page.evaluate(f"() => {{ {program} }}")
    page.wait_for_timeout(50)
    with pytest.raises(AssertionError, match="a broken drawing"):
        next(pages)


def test_what_shuts_somebody_out_is_found(phone_page: Page, axe: Callable[[Page], None]) -> None:
    phone_page.set_content(
        "<!doctype html><html><title>Columns</title>"
        "<meta name='viewport' content='width=device-width'><img src='data:,'></html>"
    )
    with pytest.raises(AssertionError, match="image-alt"):
        axe(phone_page)
    assert phone_page.evaluate("innerWidth") == 390
