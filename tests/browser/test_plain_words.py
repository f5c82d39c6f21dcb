"""What the review says, to eyes and ears: no inner names, nothing confirmed unheard."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import Watch
from tests.browser.room import close_window, faults, go_to, open_match, undo_everything

pytestmark = pytest.mark.browser


def test_the_chosen_line_is_read_out(page: Page) -> None:
    open_match(page)
    said = page.locator("#said")
    page.keyboard.press("n")
    expect(said).to_have_text(
        "Line 1 of 5: takedown, 2 points, Ines Vaz, 0:10.00. Proposed: fairly sure, 81 %."
    )
    page.keyboard.press("ArrowDown")
    expect(said).to_contain_text("Line 2 of 5: guard pass, 3 points, Ines Vaz")
    page.keyboard.press("ArrowUp")
    expect(said).to_contain_text("Line 1 of 5")
    assert "advantage, advantage" not in page.inner_text("body")


def test_a_refusal_names_no_field(page: Page, watch: Watch) -> None:
    open_match(page)
    go_to(page, "0:07")
    expect(page.locator("#time-now")).to_have_text("0:07.00")
    page.keyboard.press("e")
    trouble = page.get_by_role("alert").first
    expect(trouble).to_contain_text("Not saved:")
    expect(trouble).not_to_contain_text("to_s")
    watch.said = [said for said in watch.said if "422" not in said]


@pytest.mark.parametrize("key", ["Enter", "Escape"])
@pytest.mark.parametrize("path", ["/match/1", "/match/1/opinions"])
def test_the_name_is_left_by_a_key(page: Page, key: str, path: str) -> None:
    page.goto(path)
    name = page.get_by_label("Your name")
    name.fill("Kim")
    page.keyboard.press(key)
    expect(name).not_to_be_focused()
    page.keyboard.press("n")
    expect(name).to_have_value("Kim")


def test_every_correction_says_what_it_did(page: Page) -> None:
    open_match(page)
    said = page.locator("#said")
    go_to(page, "0:14")
    expect(page.locator("#time-now")).to_have_text("0:14.00")
    page.keyboard.press("t")
    expect(said).to_contain_text("Split at 0:14.00.")
    page.keyboard.press("m")
    expect(said).to_contain_text("Merged with the next hold.")
    page.keyboard.press("Delete")
    expect(said).to_contain_text("Nothing is held here any more.")
    undo_everything(page)


def test_nobody_is_chosen_beforehand_for_a_tap(page: Page) -> None:
    open_match(page)
    page.keyboard.press("i")
    page.locator("dialog select").select_option("tap")
    expect(page.locator("dialog input:checked")).to_have_count(0)
    page.locator("dialog").get_by_role("button", name="Mark").click()
    expect(page.get_by_role("dialog")).to_be_visible()
    close_window(page)


def test_what_was_typed_is_not_dropped_by_one_key(page: Page) -> None:
    open_match(page)
    page.keyboard.press("n")
    page.keyboard.press("x")
    page.get_by_label("In your own words").fill("The knee touched")
    page.keyboard.press("Escape")
    expect(page.get_by_role("dialog")).to_contain_text("not saved")
    expect(page.get_by_label("In your own words")).to_have_value("The knee touched")
    close_window(page)


def test_no_inner_name_is_spoken(page: Page) -> None:
    open_match(page)
    page.keyboard.press("n")
    row = page.locator(".proposal.selected .stills")
    expect(row).to_have_attribute("aria-label", "Frames of this line")


@pytest.mark.parametrize("path", ["/", "/match/1", "/athletes?name=Ines+Vaz"])
def test_the_language_is_british_english(page: Page, path: str) -> None:
    page.goto(path)
    expect(page.locator("html")).to_have_attribute("lang", "en-GB")


@pytest.mark.parametrize("path", ["/athletes", "/athletes?name=Ines+Vaz"])
def test_dark_is_dark(page: Page, path: str) -> None:
    page.emulate_media(color_scheme="dark")
    page.goto(path)
    page.wait_for_selector("h1")
    background = page.evaluate("getComputedStyle(document.body).backgroundColor")
    assert max(int(part) for part in background[4:-1].split(",")[:3]) < 60, background
    assert faults(page) == []


def test_forced_colours_keep_the_legend_apart(page: Page) -> None:
    page.emulate_media(forced_colors="active")
    open_match(page)
    looks = page.evaluate(
        """() => [...document.querySelectorAll(".legend .swatch")].map((one) => {
          const style = getComputedStyle(one);
          return [style.backgroundColor, style.backgroundImage, style.borderStyle].join("|");
        })"""
    )
    assert len(looks) == 4
    assert len(set(looks)) == 4, looks
    assert faults(page) == []
