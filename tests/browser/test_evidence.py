"""Why: the evidence of a proposal, and what a person says against it, in a real browser."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import Watch
from tests.browser.room import close_window, go_to, named_frame, open_match, wait_for_points

pytestmark = pytest.mark.browser


def test_stills_lead_to_their_frames(page: Page) -> None:
    open_match(page)
    page.keyboard.press("ArrowDown")
    stills = page.locator(".proposal.selected .still")
    expect(stills.locator("img")).to_have_count(3)
    page.wait_for_function(
        "[...document.querySelectorAll('.still img')].every((img) => img.naturalWidth > 100)"
    )
    for number, key in enumerate("123"):
        page.keyboard.press(key)
        alt = stills.nth(number).locator("img").get_attribute("alt") or ""
        expect(page.locator("#frame-now")).to_have_text(alt.split("frame ")[1])
    assert named_frame(page) > 100


def test_side_by_side_holds_the_moment_the_criteria_and_the_rule(page: Page) -> None:
    open_match(page)
    page.locator(".proposal", has_text="knee-on-belly").first.get_by_role("button").first.click()
    page.keyboard.press("v")
    window = page.get_by_role("dialog")
    expect(window.locator(".still")).to_have_count(3)
    expect(window.locator(".path li")).to_have_count(2)
    expect(window.locator(".criteria .decides")).to_contain_text("other knee is off the mat")
    expect(window.locator(".asks")).to_contain_text("other knee is off the mat")
    window.locator(".decides").get_by_role("button", name="I saw that it was met").click()
    close_window(page)
    expect(page.locator(".board-A .board-proposed")).to_contain_text("11")
    page.keyboard.press("u")
    expect(page.locator(".board-A .board-proposed")).to_contain_text("9")


def test_a_proposal_is_decided_beside_its_evidence(page: Page) -> None:
    open_match(page)
    page.keyboard.press("ArrowDown")
    page.keyboard.press("v")
    window = page.get_by_role("dialog")
    expect(window.locator(".how-sure")).to_contain_text("All of it together")
    page.keyboard.press("y")
    expect(window.locator(".soft", has_text="Confirmed")).to_be_visible()
    expect(window.get_by_role("button", name="Confirm")).to_have_count(0)
    page.keyboard.press("ArrowDown")
    expect(window.get_by_role("heading").first).to_contain_text("Got past the legs")
    window.get_by_role("button", name="Dismiss").click()
    page.keyboard.press("2")
    expect(page.locator(".proposal.is-dismissed .said")).to_contain_text("Wrong athlete")
    page.keyboard.press("v")
    page.keyboard.press("v")  # and away again
    expect(page.get_by_role("dialog")).to_have_count(0)
    wait_for_points(page, "A", 2)
    for _ in range(2):
        page.keyboard.press("u")
    wait_for_points(page, "A", 0)


def test_the_window_closes_where_its_line_is_left(page: Page) -> None:
    open_match(page)
    page.keyboard.press("n")
    page.keyboard.press("v")
    window = page.get_by_role("dialog")
    expect(window).to_be_visible()
    page.keyboard.press("n")  # on to what is no line of the log: a doubtful hold
    expect(page.locator(".need")).to_contain_text("Doubtful")
    expect(window).to_have_count(0)
    page.keyboard.press("ArrowDown")  # and the keys are those of the page again
    expect(page.locator(".proposal.selected")).to_have_count(1)


def test_the_list_is_narrowed_to_what_nearly_scored(page: Page) -> None:
    open_match(page)
    everything = page.locator(".proposals > .proposal").count()
    page.get_by_role("button", name="Near misses").click()
    near = page.locator(".proposals > .proposal")
    expect(near).not_to_have_count(everything)
    for text in near.locator(".worth").all_inner_texts():
        assert text in ("adv", "0")
    page.keyboard.press("ArrowDown")  # walks through what is listed
    expect(page.locator(".proposal.selected .worth")).not_to_contain_text("+")
    end = page.locator(".proposal.selected .still img").last.get_attribute("alt") or ""
    expect(page.locator("#frame-now")).to_have_text(end.split("frame ")[1])
    page.keyboard.press("k")
    expect(page.locator(".only button", has_text="To decide")).to_have_attribute(
        "aria-pressed", "true"
    )
    page.get_by_role("button", name="All", exact=False).first.click()


def test_a_refused_change_keeps_what_was_typed(page: Page, watch: Watch) -> None:
    open_match(page)
    page.keyboard.press("ArrowDown")
    page.keyboard.press("c")
    page.get_by_label("Why").fill("the grip came before the jump")

    page.route("**/edits", lambda route: route.abort())
    page.locator("dialog select").select_option("sweep")
    page.get_by_role("button", name="Save the change").click()
    expect(page.get_by_role("dialog").get_by_role("alert").last).to_contain_text("Not saved")
    expect(page.get_by_label("Why")).to_have_value("the grip came before the jump")
    page.unroute("**/edits")
    watch.said.clear()  # the browser says that nothing answered
    page.get_by_role("button", name="Save the change").click()
    expect(page.get_by_role("dialog")).to_have_count(0)
    expect(page.locator(".proposal.selected .said")).to_contain_text("the grip came before")
    page.keyboard.press("u")
    wait_for_points(page, "A", 0)


def test_keys_pressed_in_a_burst_all_count(page: Page) -> None:
    open_match(page)
    page.keyboard.press("ArrowDown")
    page.evaluate(
        """() => {
          for (const key of ["y", "u", "U", "u", "U"]) {
            window.dispatchEvent(new KeyboardEvent("keydown", {key, shiftKey: key === "U"}));
          }
        }"""
    )
    wait_for_points(page, "A", 2)
    expect(page.locator("#said")).to_contain_text("Done again")
    page.keyboard.press("u")
    wait_for_points(page, "A", 0)


def test_a_stretch_alone_is_exchanged(page: Page) -> None:
    open_match(page)
    go_to(page, "0:33")
    expect(page.locator("#frame-now")).to_have_text("330")
    page.keyboard.press("Shift+W")
    expect(page.locator("#said")).to_contain_text("swapped from 0:32.00 to 0:38.00")
    page.keyboard.press("u")
    expect(page.locator("#said")).to_contain_text("Undone: swap A and B")
