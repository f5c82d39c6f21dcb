"""The review page as the tests read it."""

from __future__ import annotations

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

READ_FRAME = """() => {
  const video = document.querySelector("video");
  const canvas = document.createElement("canvas");
  Object.assign(canvas, {width: video.videoWidth, height: 24});
  const pen = canvas.getContext("2d", {willReadFrequently: true});
  pen.drawImage(video, 0, 0);
  let number = 0;
  for (let bit = 0; bit < 12; bit += 1) {
    if (pen.getImageData(24 * bit + 12, 12, 1, 1).data[1] > 128) number += 2 ** bit;
  }
  return number;
}"""


def open_match(page: Page, number: int = 1) -> None:
    page.goto(f"/match/{number}")
    page.wait_for_selector(".stage video")
    page.wait_for_function("document.querySelector('video').readyState >= 2")
    expect(page.locator("#frame-now")).to_have_text("0")


def named_frame(page: Page) -> int:
    return int(page.inner_text("#frame-now"))


def drawn_frame(page: Page) -> int:
    """The number in the picture that the browser really shows."""
    return int(page.evaluate(READ_FRAME))


def points(page: Page, athlete: str) -> int:
    return int(page.get_attribute(f".board-{athlete} .board-points", "data-points") or "-1")


def wait_for_points(page: Page, athlete: str, wanted: int) -> None:
    place = page.locator(f".board-{athlete} .board-points")
    expect(place).to_have_attribute("data-points", str(wanted))


def states(page: Page) -> list[str]:
    """The state of every line, in the order of the list."""
    return [text.strip() for text in page.locator(".proposals .state").all_inner_texts()]


def undo_everything(page: Page, number: int = 1) -> None:
    """Press the key for undo until nothing is left of what this page did to a match."""
    somebody = page.evaluate("localStorage.getItem('posescore.somebody')")
    author = page.get_by_label("Your name").input_value() or somebody
    address = f"/api/matches/{number}"
    while page.request.get(address, params={"author": author}).json()["undo"]:
        with page.expect_response("**/undo"):
            page.keyboard.press("u")


def go_to(page: Page, where: str) -> None:
    """Use the window that goes to a time or a frame."""
    page.keyboard.press("g")
    page.get_by_label("Time as minutes:seconds").fill(where)
    page.keyboard.press("Enter")


def close_window(page: Page) -> None:
    """Press Escape, and wait until the page knows."""
    page.keyboard.press("Escape")
    expect(page.locator("dialog")).to_have_count(0)


def faults(page: Page) -> list[str]:
    """What axe-core holds against the page as it is now, from moderate faults up."""
    found = Axe().run(page).response["violations"]
    return [
        f"{fault['id']}: {node['html'][:160]}"
        for fault in found
        if fault["impact"] in ("serious", "critical", "moderate")
        for node in fault["nodes"]
    ]
