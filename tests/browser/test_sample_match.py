"""The sample match in a real browser: seen, decided by keyboard alone, kept, and taken away."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from posescore.evaluation.page_speed import KEYS, measure_pages
from posescore.resources import shipped
from tests.browser.conftest import AS_INSTALLED, PATIENCE_MS, Server
from tests.browser.room import named_frame, open_match, points, states, wait_for_points
from tests.export.test_pdf_validity import faults
from tests.export.test_report import pages

pytestmark = pytest.mark.browser

MOST_KEYS = 40
WITHIN_S = 1.0
FALSE = "1"
"""The key of the first reason for which a proposal is dismissed."""


@pytest.fixture(scope="module")
def server(browser: Browser, sample_folder: Path) -> Iterator[Server]:
    server = Server(sample_folder, AS_INSTALLED)
    server.start()
    yield server
    server.stop()


@pytest.fixture(autouse=True)
def _as_analysed(page: Page) -> None:
    """What an earlier test decided is taken back."""
    for entry in page.request.get("/api/matches/1/history").json()["entries"]:
        if entry["in_force"]:
            taken = page.request.post(f"/api/matches/1/history/{entry['id']}/take-back", data={})
            assert taken.ok


@pytest.fixture(scope="module")
def truth() -> dict[str, Any]:
    made: dict[str, Any] = json.loads(shipped("sample_video", "truth.json").read_text("utf-8"))
    return made


def is_true(proposal: dict[str, Any], truth: dict[str, Any]) -> bool:
    """True awards are to be confirmed, and so is every "no points": they say what happened."""
    return not proposal["points"] or any(
        (award["athlete"], award["kind"]) == (proposal["athlete"], proposal["kind"])
        and abs(award["time_s"] - proposal["time_s"]) <= WITHIN_S
        for award in truth["awards"]
    )


def true_points(proposals: list[dict[str, Any]], truth: dict[str, Any], athlete: str) -> int:
    """Points of the true awards among what was proposed."""
    return sum(
        proposal["points"]
        for proposal in proposals
        if proposal["athlete"] == athlete and is_true(proposal, truth)
    )


def has_skeletons(page: Page) -> bool:
    """True when something is drawn over the footage."""
    return bool(
        page.evaluate(
            """() => {
              const {width, height} = document.querySelector(".stage canvas");
              const pen = document.querySelector(".stage canvas").getContext("2d");
              const {data} = pen.getImageData(0, 0, width, height);
              return data.some((value, i) => i % 4 === 3 && value > 0);
            }"""
        )
    )


def test_the_sample_match_is_seen_decided_and_kept(page: Page, truth: dict[str, Any]) -> None:
    page.goto("/")
    page.get_by_role("link", name=truth["athletes"]["A"]["name"]).first.click()
    expect(page.locator(".hold")).not_to_have_count(0)
    page.wait_for_function("document.querySelector('video').readyState >= 2")
    page.wait_for_function("document.querySelectorAll('.proposals .proposal').length >= 6")

    page.keyboard.press("Space")
    page.wait_for_function("Number(document.querySelector('#frame-now').textContent) > 15")
    page.keyboard.press("Space")
    expect(page.get_by_role("button", name="Play", exact=True)).to_be_visible()
    assert has_skeletons(page)

    first = truth["awards"][0]
    page.keyboard.press("ArrowDown")
    expect(page.locator(".proposal.selected")).to_have_count(1)
    n_frame = round(first["time_s"] * truth["frames_per_s"])
    page.wait_for_function(
        "(wanted) => Math.abs(document.querySelector('#frame-now').textContent - wanted) < 30",
        arg=n_frame,
    )
    seen = named_frame(page)
    page.keyboard.press("y")
    wait_for_points(page, "A", first["points"])
    page.keyboard.press("u")
    wait_for_points(page, "A", 0)
    page.keyboard.press("Shift+U")
    wait_for_points(page, "A", first["points"])

    page.reload()
    page.wait_for_selector(".proposals .proposal")
    assert points(page, "A") == first["points"]
    assert states(page)[0].endswith("Confirmed")
    expect(page.locator("#frame-now")).to_have_text(str(seen))


class Pressed:
    """Presses keys one by one, and counts."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.keys: list[str] = []

    def __call__(self, *keys: str) -> None:
        for key in keys:
            self.keys.append(key)
            self.page.keyboard.press(key)


def decide_all(page: Page, press: Pressed, truth: dict[str, Any]) -> None:
    """Go from need to need, like a coach who knows what happened."""
    waiting = page.locator(".todo b")
    selected = page.locator(".proposal.selected.is-undecided")
    decided = page.locator(".proposal.selected:not(.is-undecided)")
    known = {one["id"]: one for one in page.request.get("/api/matches/1").json()["proposals"]}
    left = len(known)
    expect(waiting).to_have_text(str(left))
    press("n")
    while left:
        if not selected.count():
            press("n")  # a doubtful stretch: looked at, and on
            continue
        proposal = known[str(selected.get_attribute("id")).removeprefix("proposal-")]
        true = is_true(proposal, truth)
        press(*(["Shift+Y"] if true else ["x", FALSE]))  # the first confirms and goes on
        left -= 1
        expect(waiting).to_have_text(str(left))
        if left and not true:
            press("n")
        if left:
            expect(decided).to_have_count(0)


def test_a_review_from_the_first_proposal_to_the_report_takes_few_keys(
    page: Page, truth: dict[str, Any], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    open_match(page)
    proposals = page.request.get("/api/matches/1").json()["proposals"]
    true = {athlete: true_points(proposals, truth, athlete) for athlete in "AB"}
    assert true["A"] > true["B"]
    press = Pressed(page)
    decide_all(page, press, truth)
    for athlete in "AB":
        wait_for_points(page, athlete, true[athlete])
    press("l")
    report = page.get_by_role("dialog").get_by_role("button", name="Report to print")
    with page.expect_download(timeout=2 * PATIENCE_MS) as saved:
        press(str(report.get_attribute("data-key")))
    saved.value.save_as(tmp_path / "report.pdf")
    with capsys.disabled():
        print(f" [{len(press.keys)} key presses: {' '.join(press.keys)}] ", end="")
    assert len(press.keys) < MOST_KEYS
    assert faults(tmp_path / "report.pdf") == []
    text = " ".join(pages(tmp_path / "report.pdf"))
    assert text.count("Confirmed by") >= sum(is_true(one, truth) for one in proposals)
    by_points = f"{true['A']} to {true['B']}"
    assert f"{truth['athletes']['A']['name']} leads by points, {by_points}" in " ".join(
        text.split()
    )


def test_the_measuring_of_the_pages_measures_everything(browser: Browser, server: Server) -> None:
    speed = measure_pages(browser, server.address, 1, views=1, presses=1, played_s=2.0)
    assert set(speed.parts_ms) == {"footage", "strip", "proposals"}
    assert len(speed.views_ms) == 1
    assert speed.views_ms[0] > 0
    assert len(speed.all_keys_ms) == len(KEYS)
    assert min(speed.all_keys_ms) > 0
    assert speed.frames == 60
    assert 0 < speed.with_skeletons <= speed.frames
    assert 0 < len(speed.overlay_ms) <= speed.frames
