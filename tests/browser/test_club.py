"""A library for a club: pictures on the cards, several matches at once, athletes, teams, events."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import Watch
from tests.browser.room import faults, open_match

pytestmark = pytest.mark.browser


def test_cards_show_which_match_it_is(page: Page) -> None:
    page.goto("/")
    card = page.get_by_role("article", name="Ines Vaz v Noa Berg")
    expect(card).to_contain_text("0:40 of footage")
    wide = "document.querySelector('.card .thumb')?.naturalWidth"
    page.wait_for_function(f"{wide} === 400")


def test_matches_stand_under_their_event(page: Page) -> None:
    page.goto("/")
    page.get_by_label("Order").select_option("event")
    heading = page.get_by_role("heading", name="Lakeside Cup 9")
    expect(heading).to_be_visible()
    assert faults(page) == []
    heading.get_by_role("link").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Lakeside Cup")
    expect(page.get_by_role("region", name="Table of standings")).to_contain_text("Noa Berg")
    assert faults(page) == []
    page.get_by_role("link", name="Next match to decide").click()
    page.wait_for_url("**/match/*")


def test_several_matches_are_given_an_event_at_once(page: Page) -> None:
    page.goto("/")
    page.get_by_role("button", name="Choose several").click()
    for title in ("24 frames a second", "variable rate, HEVC"):
        page.get_by_label(f"Choose {title}").check()
    expect(page.locator(".stages")).to_contain_text("2 chosen")
    page.get_by_role("button", name="Give them an event").click()
    page.get_by_label("Event", exact=True).last.fill("Autumn Round")
    assert faults(page) == []
    page.get_by_role("dialog").get_by_role("button", name="Save").click()
    for title in ("24 frames a second", "variable rate, HEVC"):
        expect(page.get_by_role("article", name=title)).to_contain_text("Autumn Round")
    for number in (2, 8):
        page.request.patch(f"/api/matches/{number}", data={"event": "Lakeside Cup"})


def test_athletes_are_given_a_team_and_renamed(page: Page, watch: Watch) -> None:
    page.goto("/athletes")
    page.get_by_label("Ines Vaz").check()
    page.get_by_label("Team").fill("Harbour Hall")
    page.get_by_role("button", name="Change in every match").click()
    page.get_by_role("link", name="Harbour Hall").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Harbour Hall")
    expect(page.get_by_role("region", name="Table of standings")).to_contain_text("Ines Vaz")
    expect(page.get_by_role("region", name="Table of standings")).not_to_contain_text("Noa Berg")
    assert faults(page) == []
    page.goto("/athletes")
    for name in ("Ines Vaz", "Noa Berg"):
        page.get_by_label(name).check()
    page.get_by_label("One name for all of them").fill("Ines Vaz")
    page.get_by_role("button", name="Change in every match").click()
    expect(page.get_by_role("alert")).to_contain_text("they met, so they are two people")
    assert faults(page) == []
    for names, new in ((["Noa Berg"], "Noa Bergh"), (["noa bergh"], "Noa Berg")):
        answer = page.request.post(
            "/api/athletes/change", data={"names": names, "name": new, "team": None}
        )
        assert answer.json() == {"matches": 9}
    page.request.post("/api/athletes/change", data={"names": ["Ines Vaz"], "team": ""})
    watch.said = [said for said in watch.said if "409" not in said]


def test_a_key_goes_on_to_the_next_match(page: Page) -> None:
    open_match(page)
    page.keyboard.press("Shift+M")  # nobody has looked at the other one, which proposes nothing
    expect(page).to_have_url(re.compile("/match/2$"))


def test_moments_of_several_matches_play_one_after_the_other(page: Page) -> None:
    for number, line in ((1, "n"), (2, "")):
        page.goto(f"/match/{number}")
        page.wait_for_function("document.querySelector('video')?.readyState >= 2")
        if line:
            page.keyboard.press(line)
        page.keyboard.press("Shift+K")
        page.get_by_label("In which set").fill("For Tuesday, Passing")
        page.get_by_label("Remark").fill(f"Look at the hips, {number}")
        assert faults(page) == []
        page.keyboard.press("Enter")
        expect(page.locator("#said")).to_contain_text("Kept: For Tuesday, Passing.")
    page.goto("/sets?name=For+Tuesday")
    page.wait_for_function("document.querySelector('video')?.readyState >= 2")
    expect(page.locator(".moments > li")).to_have_count(2)
    expect(page.locator("#time-now")).to_have_text("0:06.00")
    assert faults(page) == []
    for _ in range(3):
        page.keyboard.press("+")
    page.keyboard.press("Space")
    expect(page.locator(".moment-words")).to_have_text("Look at the hips, 2")
    with page.expect_download() as saved:
        page.get_by_role("button", name="Save as a film").click()
    assert saved.value.suggested_filename == "for-tuesday.mp4"
    for _ in range(2):
        page.get_by_role("button", name="Forget").first.click()
    expect(page.locator(".nothing")).to_contain_text("No moment is kept yet")
