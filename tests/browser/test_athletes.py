"""The page of an athlete across matches, in a real browser."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import PHONE
from tests.browser.room import open_match, wait_for_points
from tests.browser.test_review import faults

pytestmark = pytest.mark.browser


def test_from_a_review_to_the_athlete_and_back(page: Page) -> None:
    open_match(page)
    page.keyboard.press("n")
    for _ in range(12):  # one key walks through the match
        page.keyboard.press("Shift+Y")
    wait_for_points(page, "A", 9)
    wait_for_points(page, "B", 4)
    page.get_by_role("link", name="Ines Vaz").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Ines Vaz across matches")
    # The clips of the frame tests name the same two and hold no positions.
    expect(page.locator("header")).to_contain_text("points a match for")
    assert faults(page) == []
    page.set_viewport_size(PHONE)  # type: ignore[arg-type]
    wide = page.evaluate(
        "document.documentElement.scrollWidth - document.documentElement.clientWidth"
    )
    assert wide <= 0
    assert faults(page) == []
    with page.expect_download() as saved:
        page.get_by_role("link", name="Save this page").click()
    assert saved.value.suggested_filename == "ines-vaz.html"
    page.get_by_role("link", name="All athletes").click()
    expect(page.get_by_role("link", name="Noa Berg")).to_be_visible()
    assert faults(page) == []
