"""Two people review apart, compare, and settle what differs; all by keyboard."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import PHONE
from tests.browser.room import close_window
from tests.browser.test_review import faults

pytestmark = pytest.mark.browser


def review_apart(page: Page, name: str, keys: str) -> None:
    """Start a review of one's own and decide the first lines."""
    page.goto("/match/1/opinions")
    page.get_by_label("Another, apart from the others").fill(name)
    page.keyboard.press("Enter")
    expect(page.locator(".apart")).to_contain_text(f"{name}’s own review")
    expect(page.locator(".proposal")).not_to_have_count(0)
    page.wait_for_function("document.querySelector('video').readyState >= 2")
    for number, key in enumerate(keys):
        page.keyboard.press("ArrowDown")
        page.keyboard.press(key)
        if key == "x":
            page.keyboard.press("1")
        expect(page.locator(".proposal").nth(number).locator(".state")).not_to_contain_text(
            "Proposed"
        )


def test_two_opinions_are_compared_and_settled(page: Page) -> None:
    page.goto("/match/1/opinions")
    expect(page.locator(".opinions")).to_contain_text("Nobody has reviewed it apart yet")
    review_apart(page, "Kim Lund", "yyy")
    review_apart(page, "Ana", "yxy")
    expect(page.locator(".board-A .board-points")).to_have_attribute("data-points", "6")

    page.get_by_role("link", name="Compare, when both are done").click()
    differences = page.locator(".difference")
    expect(differences).to_have_count(1)
    expect(differences).to_contain_text("guard pass, 3 points, Ines Vaz")
    expect(page.locator(".numbers")).to_contain_text("2 of 3 lines that both decided are the same")
    expect(page.locator(".strip")).to_have_count(2)
    assert faults(page) == []

    page.get_by_label("Your name").fill("Chief")
    page.get_by_label("Your name").blur()
    page.keyboard.press("n")
    expect(page.locator("#time-now")).to_have_text("0:20.00")
    page.keyboard.press("2")
    expect(differences.locator(".said")).to_contain_text("Settled by Chief")
    expect(differences.locator(".said")).to_contain_text("as Kim Lund has it")
    expect(page.locator(".todo b")).to_have_text("0")
    page.reload()
    expect(differences.locator(".said")).to_contain_text("Settled by Chief")

    page.goto("/match/1")
    expect(page.locator(".board-A .board-points")).to_have_attribute("data-points", "3")
    page.keyboard.press("u")
    expect(page.locator("#said")).to_contain_text("Undone: settle a difference")


def open_two(page: Page) -> None:
    """Two reviews that differ in one line, by way of the API, and the page that shows them."""
    for name, wanted in (("Uma", "confirm"), ("Vic", "dismiss")):
        review = page.request.get(f"/api/matches/1?opinion={name}").json()
        edit = {"kind": wanted, "proposal": review["proposals"][0]["id"], "reason": "seen"}
        if review["undo"] is None:
            body = {"author": name, "opinion": name, "edit": edit}
            assert page.request.post("/api/matches/1/edits", data=body).ok
    page.goto("/match/1/opinions?one=Uma&other=Vic")
    expect(page.locator(".difference")).to_have_count(1)


def test_the_keys_of_this_page_are_listed(page: Page) -> None:
    open_two(page)
    page.keyboard.press("?")
    expect(page.get_by_role("dialog", name="Keys")).to_contain_text("Next difference that is open")
    close_window(page)


def test_a_phone_shows_both(page: Page) -> None:
    page.set_viewport_size(PHONE)  # type: ignore[arg-type]
    open_two(page)
    wide = page.evaluate(
        "document.documentElement.scrollWidth - document.documentElement.clientWidth"
    )
    assert wide <= 0
    assert faults(page) == []
