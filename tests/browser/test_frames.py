"""The frame that is named is the frame that is shown."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import Watch
from tests.browser.room import READ_FRAME, drawn_frame, go_to, named_frame, open_match
from tests.browser.served import FRAME_CLIPS

pytestmark = pytest.mark.browser

NAMED_AS_DRAWN = (
    f"() => ({READ_FRAME})() === Number(document.querySelector('#frame-now').textContent)"
)

CLIPS = [
    pytest.param(i, clock, id=title) for i, (title, (clock, _)) in enumerate(FRAME_CLIPS.items(), 2)
]


@pytest.mark.parametrize(("number", "clock"), CLIPS)
def test_steps_and_seeks_land_on_the_frame(page: Page, number: int, clock) -> None:
    open_match(page, number)
    for expected in (1, 2, 3, 4, 5):
        page.keyboard.press("ArrowRight")
        check(page, expected)
    for expected in (4, 3):
        page.keyboard.press("ArrowLeft")
        check(page, expected)
    for wanted in (len(clock) - 1, 17, 16, 44, 0, 31):
        go_to(page, f"#{wanted}")
        check(page, wanted)
    half = clock.frame_index(clock.end_s / 2)
    go_to(page, f"{clock.end_s / 2:.4f}")
    check(page, half)


@pytest.mark.parametrize(("number", "clock"), CLIPS)
def test_many_quick_steps_arrive_together(page: Page, number: int, clock) -> None:
    open_match(page, number)
    for _ in range(20):
        page.keyboard.press("ArrowRight")
    check(page, 20)


@pytest.mark.parametrize(("number", "clock"), CLIPS)
def test_stopping_names_the_frame_that_is_shown(page: Page, number: int, clock) -> None:
    open_match(page, number)
    for _ in range(3):
        before = named_frame(page)
        page.keyboard.press("Space")
        page.wait_for_function(
            "before => Number(document.querySelector('#frame-now').textContent) > before + 4",
            arg=before,
        )
        page.keyboard.press("Space")
        expect(page.get_by_role("button", name="Play", exact=True)).to_be_visible()
        page.wait_for_function(NAMED_AS_DRAWN)
        page.keyboard.press("ArrowLeft")
        page.keyboard.press("ArrowLeft")


def check(page: Page, expected: int) -> None:
    expect(page.locator("#frame-now")).to_have_text(str(expected))
    assert drawn_frame(page) == named_frame(page) == expected


def test_without_footage_the_skeletons_are_walked_through(page: Page, watch: Watch) -> None:
    gone = "/films/final.mp4: the footage is gone; put it back and reload the page."
    page.route("**/footage", lambda route: route.fulfill(status=404, json={"error": gone}))
    page.goto("/match/1")
    expect(page.locator(".trouble")).to_contain_text(gone)
    page.keyboard.press("ArrowDown")
    expect(page.locator("#frame-now")).to_have_text("100")
    page.keyboard.press("ArrowRight")
    expect(page.locator("#frame-now")).to_have_text("101")
    page.keyboard.press("y")
    expect(page.locator("#said")).to_contain_text("Confirmed")
    page.keyboard.press("u")
    expect(page.locator("#said")).to_contain_text("Undone")
    watch.said.clear()  # the browser's own words on what was not there
