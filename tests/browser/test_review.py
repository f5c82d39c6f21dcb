"""The whole way of a review, in a real browser."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import PHONE
from tests.browser.room import (
    close_window,
    drawn_frame,
    faults,
    go_to,
    named_frame,
    open_match,
    points,
    states,
    undo_everything,
    wait_for_points,
)

pytestmark = pytest.mark.browser

LISTEN = """() => {
  const said = document.querySelector("#said");
  window.heard = [];
  new MutationObserver(() => window.heard.push(said.textContent))
    .observe(said, {childList: true, characterData: true, subtree: true});
}"""
"""Keeps every sentence that the page says from now on."""


def test_confirm_by_keyboard_undo_redo_reload(page: Page) -> None:
    page.goto("/")
    page.get_by_role("link", name="Ines Vaz v Noa Berg").click()
    expect(page.locator(".proposals li")).not_to_have_count(0)
    expect(page).to_have_title("Ines Vaz v Noa Berg – PoseScore")
    page.wait_for_function("document.querySelector('video').readyState >= 2")

    page.keyboard.press("Space")
    page.wait_for_function("Number(document.querySelector('#frame-now').textContent) > 3")
    page.keyboard.press("Space")
    expect(page.get_by_role("button", name="Play", exact=True)).to_be_visible()

    page.keyboard.press("n")
    expect(page.locator("#time-now")).to_have_text("0:10.00")
    assert drawn_frame(page) == named_frame(page) == 100
    page.keyboard.press("y")
    wait_for_points(page, "A", 2)
    assert states(page)[0].endswith("Confirmed")

    page.keyboard.press("u")
    wait_for_points(page, "A", 0)
    assert states(page)[0].startswith("Proposed: ")
    page.keyboard.press("Shift+U")
    wait_for_points(page, "A", 2)

    page.reload()
    page.wait_for_selector(".proposals li")
    assert points(page, "A") == 2
    assert states(page)[0].endswith("Confirmed")
    expect(page.locator("#frame-now")).to_have_text("100")  # and so is the place
    page.keyboard.press("u")
    wait_for_points(page, "A", 0)


def test_dismiss_change_and_add_by_keyboard(page: Page) -> None:
    open_match(page)
    page.keyboard.press("ArrowDown")
    page.keyboard.press("x")
    page.keyboard.press("2")
    expect(page.locator(".proposal.is-dismissed .said")).to_contain_text("Wrong athlete")

    page.keyboard.press("c")
    page.keyboard.press("ArrowRight")  # the other athlete
    page.keyboard.press("Enter")
    wait_for_points(page, "B", 2)
    expect(page.locator(".proposal.selected .said")).to_contain_text("the proposal was")

    page.keyboard.press("a")
    page.get_by_label("What happened").select_option("sweep")
    expect(page.get_by_label("Points", exact=True)).to_have_value("2")
    page.get_by_label("When the count was over").fill("0:20")
    page.keyboard.press("Enter")
    wait_for_points(page, "A", 2)
    expect(page.locator(".proposal.is-added")).to_have_count(1)
    page.keyboard.press("x")  # an added award is taken back
    wait_for_points(page, "A", 0)
    undo_everything(page)
    expect(page.locator(".proposal.is-undecided")).to_have_count(len(states(page)))


def test_a_whole_review_takes_few_keys(page: Page, capsys: pytest.CaptureFixture[str]) -> None:
    """From the first proposal to the saved log; every key press is counted."""
    open_match(page)
    pressed = []

    def press(key: str) -> None:
        pressed.append(key)
        page.keyboard.press(key)

    waiting = page.locator(".todo b")
    undecided = int(waiting.inner_text())
    while undecided:
        press("n")
        if page.locator(".proposal.selected.is-undecided").count():
            press("y")
            undecided -= 1
            expect(waiting).to_have_text(str(undecided))
    wait_for_points(page, "A", 9)
    wait_for_points(page, "B", 4)
    press("l")
    with page.expect_download() as saved:
        press("Enter")
    assert saved.value.suggested_filename == "ines-vaz-v-noa-berg.csv"
    close_window(page)
    with capsys.disabled():
        print(f" [{len(pressed)} key presses] ", end="")
    assert len(pressed) < 40
    undo_everything(page)
    wait_for_points(page, "A", 0)


def test_next_thing_visits_doubts_and_swaps_too(page: Page) -> None:
    open_match(page)
    page.evaluate(LISTEN)
    for _ in range(7):
        page.keyboard.press("n")
    for words in ("Doubtful: open guard", "A and B may be swapped here"):
        page.wait_for_function(
            "words => window.heard.some((one) => one.includes(words))", arg=words
        )


def test_keys_are_silent_while_typing(page: Page) -> None:
    open_match(page)
    page.keyboard.press("n")
    page.get_by_label("Your name").fill("")
    page.get_by_label("Your name").press_sequentially("yxcu")
    assert points(page, "A") == 0
    assert page.locator("dialog").count() == 0
    page.get_by_label("Your name").blur()
    page.keyboard.press("y")
    wait_for_points(page, "A", 2)
    expect(page.locator(".proposal.selected .said")).to_contain_text("yxcu")
    page.keyboard.press("u")
    wait_for_points(page, "A", 0)


def test_keys_are_listed_and_can_be_chosen(page: Page) -> None:
    open_match(page)
    page.keyboard.press("?")
    dialog = page.get_by_role("dialog", name="Keys")
    expect(dialog).to_contain_text("Next to decide")
    dialog.get_by_role("button", name="Key for Play or pause").click()
    page.keyboard.press("n")
    expect(dialog.get_by_role("alert")).to_contain_text("already means")
    dialog.get_by_role("button", name="Key for Play or pause").click()
    page.keyboard.press("p")
    close_window(page)
    page.keyboard.press("p")
    expect(page.get_by_role("button", name="Pause")).to_be_visible()
    page.keyboard.press("p")
    page.keyboard.press("?")
    expect(dialog).to_be_visible()
    page.keyboard.press("?")
    expect(dialog).to_have_count(0)
    page.keyboard.press("?")
    page.get_by_label("Single keys work on this page").uncheck()
    close_window(page)
    page.keyboard.press("ArrowDown")
    expect(page.locator(".proposal.selected")).to_have_count(0)


def test_swap_exchanges_the_skeletons(page: Page) -> None:
    open_match(page)
    go_to(page, "0:31")
    expect(page.locator("#frame-now")).to_have_text("310")
    before = page.locator("canvas").screenshot()
    page.keyboard.press("w")
    expect(page.locator("#said")).to_contain_text("swapped from 0:31.00")
    assert page.locator("canvas").screenshot() != before
    page.keyboard.press("u")
    expect(page.locator("#said")).to_contain_text("swap A and B")


def test_holds_and_events_are_corrected_by_keyboard(page: Page) -> None:
    open_match(page)
    before = states(page)
    page.keyboard.press("Space")  # a pause in between changes nothing
    page.keyboard.press("Space")
    said = page.locator("#said")
    go_to(page, "0:14")
    expect(page.locator("#time-now")).to_have_text("0:14.00")
    page.keyboard.press("b")
    expect(said).to_contain_text("The start of the hold is 0:14.00 now.")
    page.keyboard.press(".")
    expect(said).to_contain_text("0:14.10")
    go_to(page, "0:15")
    expect(page.locator("#time-now")).to_have_text("0:15.00")
    page.keyboard.press("r")
    page.get_by_role("dialog").get_by_label("half guard").check()
    page.keyboard.press("Enter")
    expect(page.locator(".now")).to_contain_text("half guard")
    page.keyboard.press("t")
    expect(page.locator(".hold")).to_have_count(8)
    page.keyboard.press("m")
    expect(page.locator(".hold")).to_have_count(7)
    page.keyboard.press("i")
    page.locator("dialog select").select_option("penalty")
    page.get_by_label("Noa Berg").check()
    page.keyboard.press("Enter")
    expect(page.locator(".board-B .board-proposed")).to_contain_text("1 pen.")
    page.keyboard.press("y")  # the mark is the selected proposal now
    expect(page.locator(".board-B .board-small")).to_contain_text("pen. 1")
    page.keyboard.press("Delete")
    expect(page.locator(".hold")).to_have_count(6)
    undo_everything(page)
    expect(page.locator(".hold")).to_have_count(7)
    assert states(page) == before


def test_holds_are_named_one_after_the_other(page: Page) -> None:
    open_match(page)
    shown = page.locator("#time-now")
    for time in ("0:07.00", "0:12.50", "0:17.00"):
        page.keyboard.press("PageDown")
        expect(shown).to_have_text(time)
    page.keyboard.press("PageUp")
    expect(shown).to_have_text("0:12.50")
    page.keyboard.press("r")
    page.keyboard.press("b")
    page.keyboard.press("8")  # the eighth of the list, and B on top: three presses in all
    expect(page.get_by_role("dialog")).to_have_count(0)
    expect(page.locator(".now")).to_contain_text("mount (sitting on the torso), Noa Berg on top")
    page.keyboard.press("r")
    page.keyboard.press("1")
    expect(page.locator(".now")).to_contain_text("standing")
    undo_everything(page)
    expect(page.locator(".now")).to_contain_text("open guard")


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", ["desk", "phone"])
def test_no_accessibility_fault(page: Page, scheme: str, size: str) -> None:
    page.emulate_media(color_scheme=scheme, reduced_motion="reduce")  # type: ignore[arg-type]
    if size == "phone":
        page.set_viewport_size(PHONE)  # type: ignore[arg-type]
    page.goto("/")
    page.wait_for_selector(".card")
    assert faults(page) == []
    open_match(page)
    page.keyboard.press("n")
    page.wait_for_selector(".criteria")
    assert faults(page) == []
    for key in "?cxigr":
        page.keyboard.press(key)
        expect(page.locator("dialog")).to_be_visible()
        if key in "?cr":
            assert faults(page) == []
        close_window(page)


def test_a_phone_shows_everything_without_scrolling_sideways(page: Page) -> None:
    page.set_viewport_size(PHONE)  # type: ignore[arg-type]
    open_match(page)
    wide = page.evaluate(
        "document.documentElement.scrollWidth - document.documentElement.clientWidth"
    )
    assert wide <= 0
    page.get_by_role("button", name="Next to decide").click()
    page.get_by_role("button", name="Confirm").click()
    wait_for_points(page, "A", 2)
    page.get_by_role("button", name="Undo").click()
    wait_for_points(page, "A", 0)
