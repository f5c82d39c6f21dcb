"""Whoever moves by the Tab key always sees where they are: WCAG 2.2, 2.4.11 and 1.4.10.

The window of 720 by 450 is a desk of 1440 by 900 at 200 %, the one of 320 by 256 a desk of 1280 by
1024 at 400 %, as WCAG 1.4.10 counts it.
"""

from __future__ import annotations

import pytest
from playwright.sync_api import Page

from tests.browser.room import faults
from tests.browser.test_every_page import PATHS, READY, TOO_WIDE_PX

pytestmark = pytest.mark.browser

WINDOWS = {
    "a phone held sideways": (844, 390),
    "200 % zoom": (720, 450),
    "400 % zoom": (320, 256),
    "a phone": (390, 844),
    "a desk": (1440, 900),
}
MOST_STOPS = 220
SEEN = """async () => {
  const frame = () => new Promise(requestAnimationFrame);
  await frame().then(frame); // what scrolls has scrolled
  const one = document.activeElement;
  if (!one || one === document.body) return null;
  const shown = one.matches("input.sr, .sr input") ? one.closest("label") : one;
  const box = shown.getClientRects()[0]; // of a link of two lines the first
  const around = (at) => at.contains(shown) && at.matches("label, a, button");
  const mine = (at) => at && (shown.contains(at) || around(at));
  let seen = 0;
  for (const across of [0.1, 0.5, 0.9]) {
    for (const down of [0.1, 0.5, 0.9]) {
      const [x, y] = [box.left + across * box.width, box.top + down * box.height];
      seen += mine(document.elementFromPoint(x, y)) ? 1 : 0;
    }
  }
  return {seen, box: [box.left, box.top, box.width, box.height], html: one.outerHTML.slice(0, 140),
    tall: box.height > innerHeight / 2};
}"""
"""How many of nine points of the focused control are in sight; null where nothing has the focus."""
HALF = 5


def hidden_stops(page: Page) -> list[str]:
    """Walk through the whole page by Tab; what has the focus and cannot be seen."""
    page.evaluate("document.activeElement?.blur(); scrollTo(0, 0)")
    hidden, met = [], 0
    for _ in range(MOST_STOPS):
        page.keyboard.press("Tab")
        stop = page.evaluate(SEEN)
        if stop is None:
            break
        met += 1
        if stop["seen"] < (1 if stop["tall"] else HALF):
            hidden.append(f"{stop['seen']} of 9: {stop['html']} at {stop['box']}")
    assert met > 0
    return hidden


@pytest.mark.parametrize("window", WINDOWS)
@pytest.mark.parametrize("path", [path for path in PATHS if path != "/api/docs"])
def test_the_focus_is_never_hidden(page: Page, path: str, window: str) -> None:
    width, height = WINDOWS[window]
    page.set_viewport_size({"width": width, "height": height})
    page.emulate_media(reduced_motion="reduce")
    page.goto(path.format(match_id=1))
    page.wait_for_selector(READY.get(path, "h1"))
    if path == "/match/{match_id}":
        page.keyboard.press("ArrowDown")
        page.wait_for_selector(".criteria")
    assert hidden_stops(page) == []
    assert page.evaluate(TOO_WIDE_PX) <= 0, "the page scrolls sideways"
    title = page.locator("h1").bounding_box()
    assert title is not None
    assert title["width"] > 60, "the title has no room"
    assert faults(page) == []
