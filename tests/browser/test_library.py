"""The page of the library in a real browser: adding, analysing, finding, changing, deleting."""

from __future__ import annotations

import base64
import json
import re
import signal
import urllib.request
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Locator, Page, expect

from posescore.footage.clock import FrameClock
from posescore.library.library import Library
from posescore.library.match import AthleteInfo, MatchInfo
from tests.browser.conftest import DESK, PATIENCE_MS, PHONE, Server, Watch
from tests.browser.room import faults
from tests.library.samples import analysis
from tests.web.small_match import write_clip

pytestmark = pytest.mark.browser

DROP = """([names, contents]) => {
  const transfer = new DataTransfer();
  names.forEach((name, i) => {
    const bytes = Uint8Array.from(atob(contents[i]), (letter) => letter.charCodeAt(0));
    transfer.items.add(new File([bytes], name));
  });
  const tell = (kind) => document.body.dispatchEvent(
    new DragEvent(kind, {dataTransfer: transfer, bubbles: true, cancelable: true}));
  tell("dragenter");
  const next = () => new Promise((done) => requestAnimationFrame(done));
  return next().then(next).then(() => {
    const said = document.querySelector(".drop-here")?.textContent ?? "";
    tell("drop");
    return said;
  });
}"""


@pytest.fixture(scope="module")
def server(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    server = Server(
        tmp_path_factory.mktemp("library"), module=("tests.browser.served_library", "{folder}")
    )
    server.start()
    yield server
    server.stop()


@pytest.fixture
def page(browser: Browser, server: Server, watch: Watch) -> Iterator[Page]:
    """A window on an empty library; refusals that a test expects are taken out of what it said."""
    empty(server)
    context = browser.new_context(viewport=DESK, base_url=server.address)  # type: ignore[arg-type]
    page = context.new_page()
    page.set_default_timeout(PATIENCE_MS)
    watch.over(page)
    yield page
    context.close()
    empty(server)
    assert watch.said == []
    assert watch.left == []


def folder_of(server: Server) -> Path:
    return server.folder / "library"


def ask(server: Server, path: str, method: str = "GET") -> Any:
    request = urllib.request.Request(f"{server.address}api/{path}", method=method)
    with urllib.request.urlopen(request, timeout=30) as answer:
        return json.loads(answer.read() or b"null")


def empty(server: Server) -> None:
    for name in ("hold", "fail", "die", "deaf"):
        (folder_of(server) / name).unlink(missing_ok=True)
    for match in ask(server, "matches"):
        ask(server, f"matches/{match['id']}", "DELETE")


def hold(server: Server, name: str = "hold") -> Path:
    path = folder_of(server) / name
    path.touch()
    return path


@pytest.fixture(scope="module")
def clips(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """Four videos of a minute and a frame every ten seconds, each another one."""
    folder = tmp_path_factory.mktemp("clips")
    paths = [folder / f"round_{number}.mp4" for number in (1, 2, 3, 4)]
    for number, path in enumerate(paths):
        write_clip(path, FrameClock.steady(7 + number, 0.1))
    return paths


def add_by_choosing(page: Page, *paths: Path) -> Locator:
    """Open the window, choose files, and give the window."""
    page.get_by_role("button", name="Add matches").click()
    window = page.get_by_role("dialog", name="Add matches")
    window.locator("input[type=file]").set_input_files([str(path) for path in paths])
    return window


def added(page: Page, *paths: Path) -> None:
    window = add_by_choosing(page, *paths)
    window.get_by_role("button", name=f"Add {len(paths)} match").click()
    expect(window).to_have_count(0)


def test_a_very_long_file_name_is_no_hindrance(
    page: Page, clips: list[Path], tmp_path: Path
) -> None:
    long = tmp_path / f"{'semi final of the blue belts ' * 7}take 2.mp4"
    long.write_bytes(clips[0].read_bytes())
    assert len(long.name) > 200
    page.goto("/")
    added(page, long)
    expect(page.locator(".card")).to_have_count(1)
    expect(page.locator(".card h2")).to_contain_text("semi final of the blue belts")


def card(page: Page, title: str) -> Locator:
    return page.get_by_role("article", name=title)


def test_an_empty_library_says_what_to_do(page: Page) -> None:
    page.goto("/")
    expect(page.get_by_role("heading", name="There is no match yet")).to_be_visible()
    page.get_by_role("button", name="choose files or a folder").click()
    expect(page.get_by_role("dialog", name="Add matches")).to_be_visible()
    assert faults(page) == []


def test_a_coach_adds_a_match_and_opens_it(page: Page, clips: list[Path]) -> None:
    page.goto("/")
    window = add_by_choosing(page, clips[0])
    expect(window.get_by_text("ready to be added")).to_be_visible()
    expect(window.get_by_label("Title")).to_have_value("round 1")
    window.get_by_label("Title").fill("Ines and Noa")
    for letter, name, gi in (("A", "Ines Vaz", "white"), ("B", "Noa Berg", "blue")):
        athlete = window.get_by_role("group", name=f"Athlete {letter}")
        athlete.get_by_label("Name").fill(name)
        athlete.get_by_label("Gi", exact=True).fill(gi)
        athlete.get_by_label("Belt").select_option("brown")
    window.get_by_label("Event", exact=True).fill("Lakeside Cup")
    window.get_by_label("Day").fill("2026-05-09")
    window.get_by_label("Mat", exact=True).fill("2")
    window.get_by_label("Age class").select_option("adult")
    window.get_by_label("Belt of the division").select_option("brown")
    # Match time of an adult brown belt: competition guidelines, 1.3.
    expect(window.get_by_role("status")).to_contain_text("8 minutes")
    window.get_by_role("button", name="Add 1 match").click()
    expect(window).to_have_count(0)
    match = card(page, "Ines and Noa")
    expect(match).to_contain_text(
        "Lakeside Cup, mat 2, 2026-05-09 · 1:00 of footage · adult brown, match time 8 min"
    )
    expect(match).to_contain_text("to decide")
    match.get_by_role("link", name="Ines and Noa").click()
    expect(page.locator(".proposals li")).not_to_have_count(0)


def test_bad_files_are_told_one_by_one_and_the_good_ones_go_on(
    page: Page, watch: Watch, clips: list[Path], tmp_path: Path
) -> None:
    notes, broken = tmp_path / "notes.txt", tmp_path / "broken.mp4"
    notes.write_text("x")
    broken.write_bytes(b"nonsense" * 200)
    page.goto("/")
    window = add_by_choosing(page, broken, notes, clips[0], clips[1])
    expect(window.get_by_role("alert").filter(has_text="notes.txt is not a video")).to_be_visible()
    window.get_by_role("button", name="Add 3 matches").click()
    expect(window.get_by_role("alert").filter(has_text="broken.mp4 is not a video")).to_be_visible()
    expect(page.get_by_role("article", include_hidden=True)).to_have_count(2)
    expect(window.locator(".item")).to_have_count(2)
    broken.write_bytes(clips[2].read_bytes())  # copied again from the camera
    window.get_by_role("button", name="Leave out broken.mp4").click()
    window.locator("input[type=file]").set_input_files(str(broken))
    window.get_by_role("button", name="Add 1 match").click()
    expect(card(page, "broken")).to_be_visible()
    expect(card(page, "round 2")).to_contain_text("to decide")
    refusals = [said for said in watch.said if "status of 422" in said]
    assert len(refusals) == 2
    watch.said = [said for said in watch.said if said not in refusals]


def test_sending_that_broke_off_is_tried_again(page: Page, watch: Watch, clips: list[Path]) -> None:
    page.goto("/")
    page.route(re.compile("/api/footage/[0-9a-f]+$"), lambda route: route.abort())
    window = add_by_choosing(page, clips[0])
    expect(window.get_by_role("alert").filter(has_text="could not be sent")).to_be_visible()
    page.unroute_all()
    window.get_by_role("button", name="Try again with round_1.mp4").click()
    window.get_by_role("button", name="Add 1 match").click()
    expect(card(page, "round 1")).to_be_visible()
    watch.said = [said for said in watch.said if "ERR_FAILED" not in said]


def test_what_is_chosen_while_others_are_added_waits_to_be_added(
    page: Page, clips: list[Path], tmp_path: Path
) -> None:
    film = tmp_path / "IMG_2041.mp4"
    film.write_bytes(clips[2].read_bytes())
    page.goto("/")
    window = add_by_choosing(page, clips[0], clips[1])
    window.get_by_role("button", name="Add 2 matches").click()
    expect(window).to_have_count(0)
    window = add_by_choosing(page, film)
    for letter, name in (("A", "Ines Vaz"), ("B", "Noa Berg")):
        window.get_by_role("group", name=f"Athlete {letter}").get_by_label("Name").fill(name)
    page.keyboard.press("Escape")  # closed by mistake: nothing is lost
    expect(page.get_by_text("1 video is ready to be added.")).to_be_visible()
    page.get_by_role("button", name="Show").click()
    window.get_by_role("button", name="Add 1 match").click()
    expect(card(page, "Ines Vaz and Noa Berg")).to_be_visible()


def test_videos_are_dropped_on_the_page(page: Page, clips: list[Path]) -> None:
    page.goto("/")
    page.wait_for_selector(".nothing")
    contents = [base64.b64encode(path.read_bytes()).decode() for path in clips[:2]]
    said = page.evaluate(DROP, [["one.mp4", "two.mp4"], contents])
    assert "Drop the videos" in said
    window = page.get_by_role("dialog", name="Add matches")
    window.get_by_role("button", name="Add 2 matches").click()
    expect(card(page, "two")).to_contain_text("to decide")
    expect(card(page, "one")).to_be_visible()


def test_a_folder_is_named_and_footage_is_known_again(
    page: Page, server: Server, clips: list[Path]
) -> None:
    page.goto("/")
    page.get_by_role("button", name="Add matches").click()
    window = page.get_by_role("dialog", name="Add matches")
    window.get_by_label("Whole path of a folder or file").fill(str(clips[0].parent))
    page.keyboard.press("Enter")
    window.get_by_label("round_3.mp4").uncheck()
    window.get_by_role("button", name="Take 3 videos").click()
    window.get_by_label("Analyse right away").uncheck()
    window.get_by_role("button", name="Add 3 matches").click()
    expect(window).to_have_count(0)
    expect(page.get_by_role("article")).to_have_count(3)
    expect(card(page, "round 1")).to_contain_text("Not analysed yet.")
    (first,) = [m for m in ask(server, "library")["matches"] if m["title"] == "round 1"]
    assert first["source"]["path"] == str(clips[0])
    assert not first["source"]["copied"]

    window = add_by_choosing(page, clips[0])
    window.get_by_role("button", name="Add 1 match").click()
    expect(window.get_by_role("alert")).to_contain_text("in the library already: round 1")
    page.keyboard.press("Escape")
    expect(page.get_by_role("article")).to_have_count(3)
    page.get_by_role("button", name="Add matches").click()
    window.get_by_label("Whole path of a folder or file").fill(str(clips[0].parent))
    window.get_by_role("button", name="Look").click()
    expect(window.get_by_label("round_1.mp4")).to_be_disabled()
    page.keyboard.press("Escape")
    page.get_by_role("button", name="Not analysed 3").click()
    page.get_by_role("button", name="Analyse all").click()
    page.get_by_role("button", name="To decide 3").click()
    expect(card(page, "round 1")).to_contain_text("to decide")


def test_one_match_is_edited_while_another_is_analysed(
    page: Page, server: Server, clips: list[Path]
) -> None:
    page.goto("/")
    added(page, clips[0])
    expect(card(page, "round 1")).to_contain_text("to decide")
    held = hold(server)
    added(page, clips[1], clips[2])
    expect(card(page, "round 2").get_by_role("progressbar")).to_be_visible()
    expect(card(page, "round 3")).to_contain_text("Waits for its turn, 1 before it.")

    card(page, "round 1").get_by_role("button", name="Details").click()
    window = page.get_by_role("dialog", name="Details of round 1")
    window.get_by_label("Title").fill("The final")
    window.get_by_label("Age class").select_option("juvenile")
    first = window.get_by_role("group", name="Athlete A").get_by_label("Name")
    first.fill("Noa Berg")
    window.get_by_role("button", name="Swap A and B").click()
    expect(first).to_have_value("")
    window.get_by_label("Title").press("Enter")
    expect(card(page, "The final").locator(".pairing")).to_contain_text(re.compile("B.*Noa Berg"))
    expect(card(page, "The final")).to_contain_text("juvenile, match time 5 min")
    card(page, "The final").get_by_role("link").click()
    page.locator(".proposals li").first.wait_for()
    page.keyboard.press("ArrowDown")
    page.keyboard.press("y")
    expect(page.locator(".proposal.is-confirmed")).to_have_count(1)

    page.goto("/")
    expect(card(page, "round 2").get_by_role("progressbar")).to_be_visible()
    held.unlink()
    for title in ("round 2", "round 3"):
        expect(card(page, title)).to_contain_text("to decide")


def test_what_is_written_of_a_match_is_not_lost(page: Page, clips: list[Path]) -> None:
    page.goto("/")
    added(page, clips[0])
    expect(card(page, "round 1")).to_contain_text("to decide")
    card(page, "round 1").get_by_role("button", name="Details").click()
    window = page.get_by_role("dialog", name="Details of round 1")
    note = window.get_by_label("Note")
    note.fill("long and thoughtful")
    page.keyboard.press("Escape")
    expect(window).to_have_count(0)
    card(page, "round 1").get_by_role("button", name="Details").click()
    expect(note).to_have_value("long and thoughtful")
    expect(window.get_by_role("note")).to_contain_text("not saved yet")
    window.get_by_role("button", name="Drop it").click()
    expect(note).to_have_value("")
    gi = window.get_by_role("group", name="Athlete A").get_by_label("Gi", exact=True)
    gi.fill("white")
    window.get_by_role("button", name="Save and analyse again").click()
    expect(window).to_have_count(0)
    card(page, "round 1").get_by_role("button", name="Details").click()
    expect(gi).to_have_value("white")
    expect(window.get_by_role("note")).to_have_count(0)


def test_an_analysis_is_stopped_and_begun_again(
    page: Page, server: Server, clips: list[Path]
) -> None:
    held = hold(server)
    page.goto("/")
    added(page, clips[0])
    expect(card(page, "round 1").get_by_role("progressbar")).to_be_visible()
    card(page, "round 1").get_by_role("button", name="Stop").click()
    expect(card(page, "round 1")).to_contain_text(
        "The analysis was stopped; what it found is kept."
    )
    held.unlink()
    card(page, "round 1").get_by_role("button", name="Go on").click()
    expect(card(page, "round 1")).to_contain_text("to decide")


def test_a_failed_analysis_says_why(page: Page, server: Server, clips: list[Path]) -> None:
    hold(server, "fail")
    page.goto("/")
    added(page, clips[0])
    expect(card(page, "round 1")).to_contain_text("nobody was found in it")
    page.get_by_role("button", name="Not analysed 1").click()
    expect(card(page, "round 1")).to_be_visible()


def test_an_analysis_goes_on_after_the_server_was_killed(
    page: Page, browser: Browser, server: Server, watch: Watch, clips: list[Path]
) -> None:
    held = hold(server)
    page.goto("/")
    added(page, clips[0], clips[1])
    expect(card(page, "round 1").get_by_role("progressbar")).to_be_visible()
    assert server.stop(signal.SIGKILL) == -signal.SIGKILL
    expect(page.get_by_role("alert")).to_contain_text("does not answer")
    watch.said.clear()
    page.close()
    held.unlink()
    server.start()
    with browser.new_page(base_url=server.address) as again:
        again.goto("/")
        for title in ("round 1", "round 2"):
            expect(card(again, title)).to_contain_text("to decide")


def test_deleting_says_what_goes_and_asks_once(
    page: Page, server: Server, clips: list[Path]
) -> None:
    page.goto("/")
    added(page, clips[0])
    expect(card(page, "round 1")).to_contain_text("to decide")
    hold(server)
    card(page, "round 1").get_by_role("button", name="Details").click()
    page.get_by_role("button", name="Analyse again").click()
    expect(card(page, "round 1").get_by_role("progressbar")).to_be_visible()
    card(page, "round 1").get_by_role("button", name="Delete").click()
    window = page.get_by_role("dialog", name="Delete round 1?")
    for words in ("1 analysis", "it is stopped", "the copy of the footage in the library"):
        expect(window).to_contain_text(words)
    window.get_by_role("button", name="Keep it").click()
    expect(card(page, "round 1")).to_be_visible()
    card(page, "round 1").get_by_role("button", name="Delete").click()
    window.get_by_role("button", name="Delete for good").click()
    expect(page.get_by_role("heading", name="There is no match yet")).to_be_visible()
    assert clips[0].exists()
    assert not list(folder_of(server).glob("footage/*"))
    assert not list(folder_of(server).glob("matches/*"))


@pytest.fixture
def two_hundred(server: Server, page: Page) -> None:
    """A long list; every other match was analysed."""
    made, clock = analysis(), FrameClock.steady(61, 1.0)
    with Library(folder_of(server)) as library:
        for number in range(200):
            a, b = AthleteInfo(f"Athlete {number % 7}"), AthleteInfo(f"Opponent {number}")
            event = ("Lakeside Cup", "Harbour Open")[number % 2]
            day = date(2026, 1 + number % 12, 1)
            match = library.add_match(
                MatchInfo(f"Match {number:03}", a, b, event=event, held_on=day)
            )
            if number % 2:
                library.save_analysis(match.id, replace(made, clock=clock))


def test_a_long_list_is_searched_filtered_sorted_and_paged(page: Page, two_hundred: None) -> None:
    page.goto("/")
    cards = page.get_by_role("article")
    expect(cards).to_have_count(24)
    page.get_by_role("button", name="Next page").click()
    expect(page.get_by_text("Page 2 of 9, 200 matches")).to_be_visible()
    expect(cards.first).to_contain_text("Match 175")
    page.reload()
    expect(page.get_by_text("Page 2 of 9, 200 matches")).to_be_visible()

    tools = page.get_by_role("search")
    event, athlete, order = (
        tools.get_by_role("combobox", name=re.compile(f"^{name}"))
        for name in ("Event", "Athlete", "Order")
    )
    event.select_option("Harbour Open")
    athlete.select_option("Athlete 3")
    expect(cards).to_have_count(15)  # 3, 17, 31 and so on to 199
    page.get_by_role("button", name="Not analysed 0").click()
    expect(page.get_by_text("No match is like that.")).to_be_visible()
    page.get_by_role("button", name="Show all matches").click()
    order.select_option("Title, A to Z")
    expect(cards.first).to_contain_text("Match 000")
    order.blur()
    page.keyboard.press("/")
    page.keyboard.type("opponent 13 lakeside")
    expect(cards).to_have_count(5)  # 130, 132, 134, 136, 138
    page.reload()
    expect(page.get_by_label("Search")).to_have_value("opponent 13 lakeside")
    expect(cards).to_have_count(5)


@pytest.mark.parametrize("size", ["desk", "phone"])
def test_nothing_keeps_anybody_out(
    page: Page, server: Server, clips: list[Path], size: str
) -> None:
    """No serious fault in either scheme, nothing sideways, and every window by keyboard."""
    page.emulate_media(reduced_motion="reduce")
    if size == "phone":
        page.set_viewport_size(PHONE)  # type: ignore[arg-type]
    page.goto("/")
    added(page, clips[0])
    expect(card(page, "round 1")).to_contain_text("to decide")
    hold(server)
    window = add_by_choosing(page, clips[1], clips[2])
    window.get_by_label("Whole path of a folder or file").fill(str(clips[0].parent))
    window.get_by_role("button", name="Look").click()
    expect(window.get_by_label("round_4.mp4")).to_be_visible()
    look_at(page)
    window.get_by_role("button", name="Add 2 matches").press("Enter")
    expect(card(page, "round 2").get_by_role("progressbar")).to_be_visible()
    look_at(page)
    for name in ("Details of", "Delete"):
        button = card(page, "round 1").get_by_role("button", name=name)
        button.press("Enter")
        page.get_by_role("dialog", name=name).wait_for()
        look_at(page)
        page.keyboard.press("Escape")
        expect(page.get_by_role("dialog")).to_have_count(0)
        expect(button).to_be_focused()


def look_at(page: Page) -> None:
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
        assert faults(page) == []
    wide = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
    assert page.evaluate(wide) <= 0
