"""Every page there is: usable by everybody, on a desk and on a phone, without a complaint."""

from __future__ import annotations

import itertools
import re
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from posescore.web.pages import pages
from tests.browser.conftest import DESK, PHONE, Watch
from tests.browser.room import faults

pytestmark = pytest.mark.browser

PAGE = re.compile(r'pages\.get\(\s*"([^".]+)"')
SOURCE = Path(pages.__file__).read_text("utf-8")
ASKED = {"/events": "/events?name=Lakeside+Cup"}
"""What a page is asked with where it shows nothing by itself."""
ELSEWHERE = {"/teams", "/language"}
"""Needs a team, which the test of athletes makes; answers with another page."""
PATHS = sorted(
    ASKED.get(path, path)
    for path in (found.replace(":int", "") for found in PAGE.findall(SOURCE))
    if path not in ELSEWHERE
)
"""Read from the program itself: a page that is added is looked at without being named here."""

TOO_WIDE_PX = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
READY = {
    "/": ".card",
    "/match/{match_id}": ".proposal",
    "/match/{match_id}/lesson": ".moment",
    "/match/{match_id}/opinions": ".opinions",
    "/sets": ".bar",
    "/api/docs": "h1",
}
"""What is there once a page has loaded; a heading where it is not said."""

NARROW = {"width": 320, "height": 720}
WINDOWS = list(itertools.product((DESK, PHONE, NARROW), ("light", "dark")))


def test_the_pages_are_found() -> None:
    assert {"/", "/match/{match_id}", "/athletes", "/api/docs"} <= set(PATHS)


@pytest.mark.parametrize("path", PATHS)
def test_a_page_keeps_nobody_out(page: Page, path: str) -> None:
    page.emulate_media(reduced_motion="reduce")
    page.goto(path.format(match_id=1))
    page.wait_for_selector(READY.get(path, "h1"))
    page.wait_for_function("[...document.images].every((one) => one.complete)")
    assert page.locator("h1").count() == 1
    assert len(page.title()) > 5
    assert page.get_attribute("html", "lang")
    for size, scheme in WINDOWS[:: 3 if path == "/api/docs" else 1]:  # it is long, and plain
        page.set_viewport_size(size)  # type: ignore[arg-type]
        page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
        assert faults(page) == [], f"{size}, {scheme}"
        assert cut_off(page) == [], size
        assert page.evaluate(TOO_WIDE_PX) <= 0, "the page scrolls sideways"
    page.emulate_media(forced_colors="active")
    assert faults(page) == [], "forced colours"


def cut_off(page: Page) -> list[str]:
    """Buttons and links that cannot be seen whole: wider than the window or outside its edges."""
    found: list[str] = page.evaluate(
        """() => [...document.querySelectorAll("button, a[href], input, select")]
          .filter((one) => one.checkVisibility() && !one.closest(".strip-scroll"))
          .map((one) => [one, one.getBoundingClientRect()])
          .filter(([, box]) => box.width > 1 && (box.left < -1 || box.right > innerWidth + 1))
          .map(([one]) => one.outerHTML.slice(0, 120))"""
    )
    return found


@pytest.mark.parametrize("path", ["/match/{match_id}", "/match/{match_id}/lesson"])
def test_a_match_that_is_not_there_says_so(page: Page, watch: Watch, path: str) -> None:
    page.goto(path.format(match_id=99))
    expect(page.get_by_role("alert").first).to_contain_text("99")
    expect(page.get_by_role("link").first).to_be_visible()
    assert faults(page) == []
    # The browser itself writes down every answer that is no success.
    watch.said = [said for said in watch.said if "404" not in said]


@pytest.mark.parametrize("path", ["/nowhere", "/match/one", "/match/1/nowhere"])
def test_an_address_that_is_not_there_says_so(page: Page, watch: Watch, path: str) -> None:
    answer = page.goto(path)
    assert answer is not None
    assert answer.status == 404
    expect(page.get_by_role("heading")).to_have_text("There is no such page")
    assert faults(page) == []
    watch.said = [said for said in watch.said if "404" not in said]
    page.get_by_role("link", name="All matches").click()
    page.wait_for_selector(".card")
