"""The API's own pages, read in a browser without the internet and under the strict policy."""

from typing import Final

from playwright.sync_api import Page, expect

#: The whole description is drawn by a script, beside whatever else the machine does.
SLOWEST_MS: Final = 60_000


def test_the_api_is_described_offline(desk_page: Page) -> None:
    asked: list[str] = []
    desk_page.on("request", lambda request: asked.append(request.url))
    desk_page.goto("/api/v1/docs")
    expect(desk_page.get_by_role("heading", name="Colonnade")).to_be_visible(timeout=SLOWEST_MS)
    # The nouns first; a noun's doors once it is opened.
    desk_page.locator("#operations-tag-changeovers").click(timeout=SLOWEST_MS)
    opened = desk_page.locator("#operations-changeovers-changeover_complete")
    expect(opened).to_be_visible(timeout=SLOWEST_MS)
    here = desk_page.url.split("/api/")[0]
    assert [url for url in asked if not url.startswith((here, "data:"))] == []
