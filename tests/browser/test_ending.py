"""How a match ends, what counts, and what the page says of its doubts."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pypdf
import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import DESK, PHONE, Server, Watch
from tests.browser.room import (
    close_window,
    faults,
    go_to,
    open_match,
    wait_for_points,
)

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def server(browser: Browser, served_folder: Path) -> Iterator[Server]:
    shutil.rmtree(served_folder / "library", ignore_errors=True)
    server = Server(served_folder, ("tests.browser.served_endings", "{folder}"))
    server.start()
    yield server
    server.stop()


@pytest.fixture(autouse=True)
def untouched(page: Page) -> Iterator[None]:
    """Whatever a test did to the matches, the next one finds them as they came."""
    yield
    for number in (1, 2):
        history = page.request.get(f"/api/matches/{number}/history").json()
        for entry in history["entries"]:
            if entry["in_force"]:
                address = f"/api/matches/{number}/history/{entry['id']}/take-back"
                page.request.post(address, data={"author": "Ann"})


def mark(page: Page, event: str, at: str, who: str = "") -> None:
    """Mark an event at a time of the footage."""
    go_to(page, at)
    expect(page.locator("#time-now")).to_contain_text(at)
    page.keyboard.press("i")
    page.locator("dialog select").select_option(event)
    if who:
        page.locator("dialog").get_by_label(who).check()
    page.keyboard.press("Enter")
    expect(page.locator("dialog")).to_have_count(0)


def add(page: Page, kind: str, at: str, points: int) -> None:
    """Add an award that was missed."""
    page.keyboard.press("a")
    page.get_by_label("What happened").select_option(kind)
    page.get_by_label("Points", exact=True).fill(str(points))
    page.get_by_label("When the count was over").fill(at)
    page.keyboard.press("Enter")
    expect(page.locator("dialog")).to_have_count(0)


def review(page: Page, number: int = 1) -> dict[str, Any]:
    found: dict[str, Any] = page.request.get(f"/api/matches/{number}").json()
    return found


# The end ends it ---------------------------------------------------------------------------------
def test_nothing_behind_a_tap_counts_and_what_is_confirmed_there_asks(page: Page) -> None:
    open_match(page)
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("y")  # the guard pass at 0:20
    wait_for_points(page, "A", 3)
    mark(page, "tap", "0:12", "Noa Berg")
    wait_for_points(page, "A", 0)
    add(page, "sweep", "0:20", 2)
    expect(page.locator("#said")).to_contain_text("Behind the end of the match: counts nothing")
    wait_for_points(page, "A", 0)
    behind = page.locator(".proposal.is-behind")
    expect(behind).to_have_count(2)
    expect(behind.first).to_contain_text("counts nothing")
    page.keyboard.press("Home")
    for _ in range(6):
        page.keyboard.press("n")
        if page.locator(".need", has_text="behind the end").count():
            break
    expect(page.locator(".need")).to_contain_text("Confirmed behind the end of the match")
    assert faults(page) == []
    report = page.request.get("/api/matches/1/export", params={"format": "csv"}).text()
    paid = [line.split(",")[9] for line in report.splitlines()[1:]]
    assert sum(int(each) for each in paid if each.isdecimal()) == 0


def test_a_window_says_before_that_it_will_not_count(page: Page) -> None:
    open_match(page)
    mark(page, "tap", "0:12", "Noa Berg")
    page.keyboard.press("a")
    page.get_by_label("When the count was over").fill("0:20")
    expect(page.get_by_role("dialog")).to_contain_text("behind the end of the match at 0:12")
    close_window(page)


def test_with_all_proposals_is_never_less_than_what_stands(page: Page) -> None:
    open_match(page, 2)
    before = int(page.locator(".board-A .board-proposed b").first.inner_text())
    add(page, "sweep", "0:20", 2)
    wait_for_points(page, "A", 2)
    expect(page.locator(".board-A .board-proposed b").first).to_have_text(str(before + 2))
    page.keyboard.press("Home")
    page.keyboard.press("n")
    page.keyboard.press("x")
    page.keyboard.press("1")
    expect(page.locator(".proposal.is-dismissed")).to_have_count(1)
    gone = review(page, 2)["proposals"][0]["points"]
    assert gone > 0
    expect(page.locator(".board-A .board-proposed b").first).to_have_text(str(before + 2 - gone))


def test_ones_own_mark_stands_at_once(page: Page) -> None:
    open_match(page)
    waiting = page.locator(".todo b").inner_text()
    mark(page, "penalty", "0:15", "Noa Berg")
    expect(page.locator(".board-B .board-small")).to_contain_text("pen. 1")
    mark(page, "advantage", "0:16", "Ines Vaz")
    expect(page.locator(".board-A .board-small")).to_contain_text("adv. 1")
    expect(page.locator(".todo b")).to_have_text(waiting)
    page.keyboard.press("o")  # and can be opened again
    expect(page.locator(".board-A .board-small")).to_contain_text("adv. 0")


def test_a_clip_without_an_end_is_neither_won_nor_lost(page: Page) -> None:
    for line in review(page, 2)["proposals"]:
        body = {"edit": {"kind": "confirm", "proposal": line["id"]}, "author": "Ann"}
        assert page.request.post("/api/matches/2/edits", data=body).ok
    page.goto("/athletes?name=Ines+Vaz")
    expect(page.locator("header p").first).to_contain_text("open")
    expect(page.locator("header p").first).not_to_contain_text("won")


def test_a_match_that_nobody_looked_at_is_not_settled(page: Page) -> None:
    page.goto("/")
    page.wait_for_selector(".card")
    page.get_by_role("button", name=re.compile("Settled|decided", re.I)).first.click()
    expect(page.locator(".card")).to_have_count(0)


# The result --------------------------------------------------------------------------------------
def test_a_result_and_the_official_score_are_typed_and_stand(page: Page) -> None:
    open_match(page)
    page.keyboard.press("ArrowDown")
    page.keyboard.press("y")
    wait_for_points(page, "A", 2)
    go_to(page, "0:20")
    page.keyboard.press("Shift+R")
    window = page.get_by_role("dialog", name="Result and scoreboard")
    window.get_by_label("Ines Vaz").first.check()
    window.get_by_label("How").select_option("submission")
    window.get_by_label("Which submission").fill("armbar")
    window.get_by_label("The scoreboard's score is known").check()
    window.get_by_label("Points, Ines Vaz").fill("5")
    assert faults(page) == []
    window.get_by_role("button", name="Save").click()
    expect(page.locator("dialog")).to_have_count(0)
    ending = page.locator(".ending")
    expect(ending).to_contain_text("Ines Vaz wins by submission (armbar).")
    expect(ending).to_contain_text("Official score 5 to 0; the confirmed log says 2 to 0")
    ending.locator("summary").click()
    rows = ending.locator("tbody tr")
    expect(rows.last).to_contain_text("end official score")
    expect(rows.filter(has_text="guard pass, 3 points")).to_contain_text("waits for a person")
    assert faults(page) == []
    saved = page.request.get("/api/matches/1/export", params={"format": "result-csv"}).text()
    assert saved.splitlines()[1] == "1,Ines Vaz,Noa Berg,A,submission,armbar,5,0,0,0,0,0,"
    page.goto("/athletes?name=Ines+Vaz")
    expect(page.locator("header p").first).to_contain_text("1 won")


def test_results_of_many_matches_come_from_a_table(page: Page, tmp_path: Path) -> None:
    table = tmp_path / "event.csv"
    table.write_text(
        "match,winner,by,points_a,points_b\n1,Noa Berg,points,2,4\nNo such match,A,points,,\n"
    )
    page.goto("/results")
    page.get_by_label("Table with results (CSV)").set_input_files(table)
    page.get_by_role("button", name="Enter the results").click()
    expect(page.get_by_role("status")).to_have_text("1 of 2 lines entered.")
    rows = page.locator("tbody tr")
    expect(rows.first).to_contain_text("entered")
    expect(rows.last).to_contain_text("there is none of that number or title")
    assert faults(page) == []
    open_match(page)
    expect(page.locator(".ending")).to_contain_text("Noa Berg wins by points.")


# Doubts and words --------------------------------------------------------------------------------
def test_a_near_miss_says_why_it_is_no_advantage_either(page: Page) -> None:
    open_match(page, 2)
    near = page.locator(".proposal", has_text=re.compile("knee-on-belly, no points", re.IGNORECASE))
    near.locator(".proposal-head").click()
    body = page.locator(".proposal.selected .proposal-body")
    expect(body.locator(".asks")).to_contain_text("With that knee down it is an advantage")
    expect(body.locator(".told")).to_contain_text(
        "and no advantage either: the same chain went on to points"
    )
    expect(body.locator(".criteria")).to_contain_text("An advantage of its own")


def test_criteria_that_nobody_looked_at_are_said_beside_how_sure(page: Page) -> None:
    open_match(page)
    mount = page.locator("#proposal-mount-A-29000")
    expect(mount.locator(".state")).to_contain_text(
        re.compile(r"very sure, 9\d %; 4 of 6 criteria not looked at, taken as met")
    )
    mount.locator(".proposal-head").click()
    expect(mount.locator(".how-sure")).to_contain_text("4 of 6 criteria not looked at")


def test_reasons_against_a_line_without_points_speak_for_points(page: Page) -> None:
    open_match(page, 2)
    page.locator(
        ".proposal", has_text=re.compile("knee-on-belly, no points", re.IGNORECASE)
    ).locator("button").first.click()
    page.keyboard.press("x")
    window = page.get_by_role("dialog")
    expect(window).to_contain_text("The criterion was met")
    expect(window).not_to_contain_text("Not held long enough")
    close_window(page)


def test_what_was_not_seen_is_said(page: Page) -> None:
    open_match(page)
    unseen = page.get_by_role("region", name="What was not seen")
    expect(unseen).to_contain_text("A and B may be mixed up for 0.8 seconds.")
    expect(unseen).to_contain_text("Never looked for: grips, submissions, stalling, penalties")


# The sheet for one call --------------------------------------------------------------------------
def test_two_opinions_show_reasons_criteria_and_a_sheet_of_one_page(
    page: Page, watch: Watch, tmp_path: Path
) -> None:
    line = review(page)["proposals"][2]["id"]
    for who, edit in (
        ("Cleo", {"kind": "confirm", "proposal": line, "reason": "both knees down, I saw it"}),
        ("Dag", {"kind": "dismiss", "proposal": line, "reason": "a leg was caught"}),
    ):
        body = {"edit": edit, "author": who, "opinion": who}
        assert page.request.post("/api/matches/1/edits", data=body).ok
    page.goto("/match/1/opinions?one=Cleo&other=Dag")
    difference = page.locator(".difference").first
    difference.get_by_role("button").first.click()
    expect(difference).to_contain_text("both knees down, I saw it")
    expect(difference).to_contain_text("a leg was caught")
    expect(difference.locator(".criteria")).to_contain_text("Held for 3 seconds")
    expect(page.locator(".side")).to_contain_text("The referee's call stands")
    assert faults(page) == []
    page.get_by_role("button", name=re.compile("^As Dag")).click()
    expect(difference).to_contain_text("Settled by")

    with page.expect_popup() as opened:
        difference.get_by_role("link", name="Sheet for this call").click()
    sheet = opened.value
    watch.over(sheet)
    expect(sheet.locator(".stands")).to_contain_text("The referee's call stands")
    expect(sheet.locator(".frames img")).to_have_count(3)
    for words in ("both knees down, I saw it", "a leg was caught", "as Dag has it"):
        expect(sheet.locator("main")).to_contain_text(words)
    expect(sheet.locator("td.met")).not_to_have_count(0)
    expect(sheet.locator("td.unseen")).to_have_count(4)
    for size in (DESK, PHONE):
        sheet.set_viewport_size(size)  # type: ignore[arg-type]
        assert faults(sheet) == []
    printed = tmp_path / "printed.pdf"
    sheet.pdf(path=printed, prefer_css_page_size=True)
    assert len(pypdf.PdfReader(printed).pages) == 1
    with sheet.expect_download() as saved:
        sheet.get_by_role("link", name="Save this sheet (PDF)").click()
    paper = pypdf.PdfReader(saved.value.path())
    assert len(paper.pages) == 1
    text = " ".join(paper.pages[0].extract_text().split())
    for words in ("The referee's call stands", "a leg was caught", "not looked at", "as Dag has"):
        assert words in text
    sheet.close()
