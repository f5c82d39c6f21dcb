"""Several people at one match: nothing is overwritten in silence, nobody undoes another's work."""

from __future__ import annotations

import shutil
import signal
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import DESK, Server
from tests.browser.room import close_window, faults, open_match, points, wait_for_points

pytestmark = pytest.mark.browser

MODULE = ("tests.browser.served_endings", "{folder}")


@pytest.fixture
def server(browser: Browser, served_folder: Path) -> Iterator[Server]:
    shutil.rmtree(served_folder / "library", ignore_errors=True)
    server = Server(served_folder, MODULE)
    server.start()
    yield server
    server.stop()


def person(browser: Browser, server: Server, name: str) -> Page:
    """A browser of one's own, at the match, with a name."""
    context = browser.new_context(viewport=DESK, base_url=server.address)  # type: ignore[arg-type]
    page = context.new_page()
    page.add_init_script(f"localStorage.setItem('posescore.author', {name!r})")
    open_match(page)
    return page


@pytest.fixture
def ann(browser: Browser, server: Server) -> Iterator[Page]:
    page = person(browser, server, "Ann")
    yield page
    page.context.close()


@pytest.fixture
def ben(browser: Browser, server: Server) -> Iterator[Page]:
    page = person(browser, server, "Ben")
    yield page
    page.context.close()


def log(page: Page) -> list[tuple[str, str]]:
    """Who did what, the newest first, from the program itself."""
    found = page.request.get("/api/matches/1/history").json()["entries"]
    return [(entry["author"], entry["what"]) for entry in found]


def test_undo_never_takes_back_what_another_did(ann: Page, ben: Page) -> None:
    ann.keyboard.press("ArrowDown")
    ann.keyboard.press("x")
    ann.keyboard.press("1")
    expect(ann.locator(".proposal.is-dismissed")).to_have_count(1)
    ben.reload()
    ben.wait_for_selector(".proposals li")
    ben.keyboard.press("ArrowDown")
    ben.keyboard.press("c")
    ben.get_by_label("Points", exact=True).fill("3")
    ben.keyboard.press("Enter")
    wait_for_points(ben, "A", 3)
    ann.keyboard.press("u")
    expect(ann.get_by_role("alert")).to_contain_text("Ben changed")
    assert points(ben, "A") == 3
    review = ann.request.get("/api/matches/1").json()
    assert review["proposals"][0]["decision"]["verdict"] == "changed"
    assert review["proposals"][0]["decision"]["by"] == "Ben"


def test_the_other_page_shows_it_as_it_comes_and_says_who_and_what(ann: Page, ben: Page) -> None:
    ann.keyboard.press("ArrowDown")
    ann.keyboard.press("y")
    wait_for_points(ann, "A", 2)
    wait_for_points(ben, "A", 2)
    expect(ben.locator(".news")).to_contain_text("Ann: confirm a proposal, 0:10.0")
    expect(ben.locator("#said")).to_contain_text("Ann: confirm a proposal")
    assert faults(ben) == []
    ann.keyboard.press("u")
    wait_for_points(ben, "A", 0)
    expect(ben.locator(".news")).to_contain_text("Ann: take back: confirm a proposal")


def test_an_edit_of_a_line_that_changed_since_it_was_shown_asks_first(ann: Page, ben: Page) -> None:
    ben.keyboard.press("ArrowDown")
    ben.keyboard.press("c")
    ben.get_by_label("Points", exact=True).fill("4")
    ben.get_by_label("Why").fill("seen from the stand")
    ann.keyboard.press("ArrowDown")
    ann.keyboard.press("x")
    ann.keyboard.press("1")
    expect(ann.locator(".proposal.is-dismissed")).to_have_count(1)
    expect(ben.locator(".proposal.is-dismissed")).to_have_count(1)
    expect(ben.get_by_label("Why")).to_have_value("seen from the stand")
    ben.keyboard.press("Enter")
    asked = ben.get_by_role("dialog", name="Somebody changed this")
    expect(asked).to_contain_text("Ann changed it while you looked at it (dismiss a proposal).")
    expect(asked).to_contain_text("proposed: takedown, 2 points, Ines Vaz")
    expect(asked).to_contain_text("Ann: dismissed: takedown, 2 points, Ines Vaz")
    assert faults(ben) == []
    asked.get_by_role("button", name="Do mine all the same").click()
    wait_for_points(ben, "A", 4)
    wait_for_points(ann, "A", 4)
    assert [who for who, _ in log(ann)] == ["Ben", "Ann"]


def test_what_another_decided_can_be_left(ann: Page, ben: Page) -> None:
    ben.keyboard.press("ArrowDown")
    ben.keyboard.press("x")
    ann.keyboard.press("ArrowDown")
    ann.keyboard.press("y")
    wait_for_points(ben, "A", 2)
    ben.keyboard.press("2")
    asked = ben.get_by_role("dialog", name="Somebody changed this")
    asked.get_by_role("button", name="Leave it as it is now").click()
    expect(ben.locator("dialog")).to_have_count(0)
    expect(ben.locator(".proposal.is-confirmed")).to_have_count(1)
    assert [who for who, _ in log(ann)] == ["Ann"]
    ben.keyboard.press("ArrowDown")
    ben.keyboard.press("y")  # another line: nobody is asked
    wait_for_points(ann, "A", 5)


def test_any_entry_can_be_taken_back_in_the_history(ann: Page, ben: Page) -> None:
    ann.keyboard.press("ArrowDown")
    ann.keyboard.press("y")
    wait_for_points(ben, "A", 2)
    ben.keyboard.press("ArrowDown")
    ben.keyboard.press("ArrowDown")
    ben.keyboard.press("y")
    wait_for_points(ben, "A", 5)
    ben.get_by_role("button", name="History").first.click()
    window = ben.get_by_role("dialog", name="History of the match")
    rows = window.locator(".history > li")
    expect(rows).to_have_count(2)
    expect(rows.nth(1)).to_contain_text("Ann")
    expect(rows.nth(1)).to_contain_text("proposed: takedown, 2 points, Ines Vaz, 0:10.0")
    expect(rows.nth(1)).to_contain_text("confirmed: takedown, 2 points, Ines Vaz, 0:10.0")
    assert faults(ben) == []
    rows.nth(1).get_by_role("button", name="Take back").click()
    expect(rows).to_have_count(3)
    expect(rows.nth(2)).to_contain_text("taken back by Ben")
    wait_for_points(ann, "A", 3)
    rows.nth(2).get_by_role("button", name="Put back").click()
    wait_for_points(ann, "A", 5)
    close_window(ben)


def test_two_people_without_a_name_are_two(browser: Browser, server: Server) -> None:
    one, other = person(browser, server, ""), person(browser, server, "")
    one.keyboard.press("ArrowDown")
    one.keyboard.press("y")
    wait_for_points(other, "A", 2)
    other.keyboard.press("u")
    expect(other.locator("#said")).to_contain_text("Nothing to undo")
    wait_for_points(one, "A", 2)
    for page in (one, other):
        page.context.close()


def test_what_is_typed_survives_a_server_that_went_and_came(
    browser: Browser, served_folder: Path
) -> None:
    shutil.rmtree(served_folder / "library", ignore_errors=True)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    server = Server(served_folder, (*MODULE, str(port)))
    server.start()
    page = person(browser, server, "Ann")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("x")
    page.get_by_label("In your own words").fill("the other knee was down")
    server.stop(signal.SIGKILL)
    page.keyboard.press("Enter")
    window = page.get_by_role("dialog", name="Why does it not stand?")
    expect(window.get_by_role("alert")).to_contain_text("Not saved")
    server.start()
    page.wait_for_timeout(2500)  # the page finds it again by itself
    expect(window.get_by_label("In your own words")).to_have_value("the other knee was down")
    page.reload()  # what a person does whose page seems dead
    expect(window.get_by_label("In your own words")).to_have_value("the other knee was down")
    page.get_by_label("In your own words").press("Enter")
    expect(page.locator(".proposal.is-dismissed .said")).to_contain_text("the other knee was down")
    page.context.close()
    server.stop()
