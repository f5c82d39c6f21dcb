"""Everything that a review ends in, saved from the page."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.browser.room import close_window, open_match
from tests.browser.test_review import faults

pytestmark = pytest.mark.browser


def test_the_log_is_saved_in_every_format(page: Page) -> None:
    open_match(page)
    for number, name in enumerate(("csv", "json", "vtt"), 1):
        page.keyboard.press("l")
        with page.expect_download() as saved:
            page.keyboard.press(str(number))
        assert Path(saved.value.suggested_filename).suffix == f".{name}"
        close_window(page)


def test_a_report_is_made_while_the_review_goes_on(page: Page) -> None:
    open_match(page)
    page.keyboard.press("l")
    window = page.get_by_role("dialog", name="Save and share")
    assert faults(page) == []
    window.get_by_label("Faces and names hidden").check()
    with page.expect_download() as saved:
        window.get_by_role("button", name="Report to print").click()
        close_window(page)
        page.keyboard.press("ArrowDown")
        expect(page.locator(".proposal.selected")).to_have_count(1)
    assert saved.value.suggested_filename == "match-1-report.pdf", "names are hidden there too"
    assert saved.value.path().read_bytes().startswith(b"%PDF-")
    page.keyboard.press("l")
    expect(window.locator(".made li")).to_contain_text("ready")


def test_a_film_can_be_stopped(page: Page) -> None:
    open_match(page)
    page.keyboard.press("l")
    window = page.get_by_role("dialog", name="Save and share")
    window.get_by_role("button", name="The whole match as a film").click()
    window.get_by_role("button", name="Stop").click()
    expect(window.locator(".made li").first).to_contain_text("stopped")


def test_what_cannot_be_made_says_why(page: Page) -> None:
    open_match(page)
    page.keyboard.press("l")
    window = page.get_by_role("dialog", name="Save and share")
    window.get_by_label("Also what nobody confirmed").uncheck()
    window.get_by_role("button", name="A clip for every award").click()
    expect(window.locator(".made li").first).to_contain_text("no award is confirmed yet")
