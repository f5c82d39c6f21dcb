"""The lesson: plays by itself, pauses at every moment, changes nothing."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import PHONE
from tests.browser.room import drawn_frame
from tests.browser.test_review import faults

pytestmark = pytest.mark.browser

LESSON = "/api/matches/1/lesson?proposed=true"


def open_lesson(page: Page) -> None:
    page.goto("/match/1/lesson")
    page.wait_for_function("document.querySelector('video')?.readyState >= 2")
    expect(page.locator("#frame-now")).to_have_text("0")
    expect(page.locator(".moments .empty")).to_contain_text("Nothing is confirmed yet")
    legend = page.locator(".lesson-score")
    expect(legend).to_contain_text("Ines Vaz white gi, full lines, round points")
    with page.expect_response("**/lesson?proposed=true"):
        page.get_by_label("Also what nobody confirmed").check()
    expect(page.locator(".moments .empty")).to_have_count(0)
    page.evaluate("document.activeElement.blur()")


def test_it_pauses_at_every_moment_and_says_two_sentences(page: Page) -> None:
    asked = []
    page.on("request", lambda request: asked.append(request.method))
    open_lesson(page)
    frames = [one["frame_index"] for one in page.request.get(LESSON).json()["moments"]]
    shown = page.locator("#frame-now")
    page.keyboard.press("End")
    expect(shown).to_have_text("399")
    page.keyboard.press("Home")
    expect(shown).to_have_text("0")
    for _ in range(4):
        page.keyboard.press("+")
    page.keyboard.press("Space")
    words = page.locator(".moment-words")
    expect(words).to_contain_text("Ines Vaz brought the opponent from standing to the mat")
    expect(words).to_contain_text("nobody has confirmed it.")
    expect(page.locator("#frame-now")).to_have_text("100")
    assert drawn_frame(page) == 100
    page.keyboard.press("Space")
    expect(page.locator(".moment-head")).to_contain_text("Guard pass, 3 points")
    expect(page.locator("#frame-now")).to_have_text("200")
    page.keyboard.press("f")  # once more: from before it began to the same pause
    page.wait_for_function("Number(document.querySelector('#frame-now').textContent) < 190")
    expect(page.locator(".moment-head")).to_contain_text("Guard pass, 3 points")
    expect(page.locator("#frame-now")).to_have_text("200")
    names = ("Knee-on-belly, an advantage", "Mount, 4 points", "Back control, 4 points")
    for name, frame in zip(names, frames[2:], strict=True):
        page.keyboard.press("n")
        expect(page.locator(".moment-head")).to_contain_text(name)
        expect(shown).to_have_text(str(frame))
    page.keyboard.press("Space")
    expect(page.locator(".moment-words")).to_contain_text("Still open")
    assert set(asked) == {"GET"}


def test_play_pressed_on_the_way_waits_for_the_moment(page: Page) -> None:
    open_lesson(page)
    page.evaluate(
        """() => {
          window.heads = [];
          const moment = document.querySelector(".moment");
          new MutationObserver(() => {
            const head = document.querySelector(".moment-head")?.textContent.trim();
            if (head && head !== window.heads.at(-1)) window.heads.push(head);
          }).observe(moment, {subtree: true, childList: true, characterData: true});
          for (const key of ["n", "n", " "]) {
            window.dispatchEvent(new KeyboardEvent("keydown", {key}));
          }
        }"""
    )
    page.wait_for_function("Number(document.querySelector('#frame-now').textContent) > 200")
    expect(page.locator(".moment-head")).to_contain_text("Knee-on-belly, an advantage")
    shown = [name.split(",")[0] for name in page.evaluate("window.heads")]
    assert [name.lstrip("AB ") for name in shown].count("Guard pass") <= 1


def test_it_is_readable_by_everybody(page: Page) -> None:
    open_lesson(page)
    page.keyboard.press("n")
    expect(page.locator(".moment-head")).to_contain_text("Takedown")
    assert faults(page) == []
    page.set_viewport_size(PHONE)  # type: ignore[arg-type]
    assert faults(page) == []
    wide = page.evaluate(
        "document.documentElement.scrollWidth - document.documentElement.clientWidth"
    )
    assert wide <= 0


def test_it_is_saved_in_one_file(page: Page) -> None:
    open_lesson(page)
    with page.expect_download() as saved:
        page.get_by_role("button", name="Save in one file").click()
    assert saved.value.suggested_filename == "ines-vaz-v-noa-berg-lesson.html"


def test_only_what_is_confirmed(page: Page) -> None:
    open_lesson(page)
    page.get_by_label("Also what nobody confirmed").uncheck()
    expect(page.locator(".moments")).to_contain_text("Nothing is confirmed yet")
