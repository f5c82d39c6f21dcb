"""Take the picture of the review page.

    python -m tests.browser.picture --out docs/review-page.png

Works on a copy of the library, so that what a person decided stays as it is.
"""

from __future__ import annotations

import argparse
import shutil
import tempfile
from pathlib import Path

from playwright.sync_api import Browser, Page

from posescore.library.library import Library
from posescore.web.headless import headless_browser, served
from tests.browser.conftest import DESK, PHONE

GONE_MS = 5000  # until the last sentence at the top has gone


def take(browser: Browser, address: str, given: argparse.Namespace) -> None:
    """Open the match, confirm a few proposals, and take the picture of the next one."""
    context = browser.new_context(
        viewport=PHONE if given.phone else DESK,  # type: ignore[arg-type]
        color_scheme=given.scheme,  # type: ignore[arg-type]
        device_scale_factor=2 if given.phone else 1,
        base_url=address,
    )
    page = context.new_page()
    page.goto(f"/match/{given.match}")
    page.wait_for_selector(".proposals li")
    page.wait_for_function("document.querySelector('video').readyState >= 2")
    decide(page, given.confirm)
    page.wait_for_timeout(GONE_MS)
    given.out.parent.mkdir(parents=True, exist_ok=True)
    page.screenshot(path=given.out)
    context.close()


def decide(page: Page, steps: int) -> None:
    """Confirm the first proposals and stop on the one after."""
    for step in range(steps + 1):
        page.keyboard.press("ArrowDown")
        page.locator(".proposal").nth(step).and_(page.locator(".selected")).wait_for()
        if step < steps:
            page.keyboard.press("y")
            page.locator(".proposal").nth(step).and_(page.locator(".is-confirmed")).wait_for()


def main() -> None:
    """Read the command line and take the picture."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--out", type=Path, default=Path("docs/review-page.png"))
    ask.add_argument("--library", type=Path, help="folder of the library")
    ask.add_argument("--match", type=int, default=1, help="number of the match")
    ask.add_argument("--scheme", choices=("light", "dark"), default="light")
    ask.add_argument("--phone", action="store_true")
    ask.add_argument("--confirm", type=int, default=2, help="how many proposals to confirm first")
    given = ask.parse_args()
    with Library(given.library) as library:
        folder = library.folder
        library.match(given.match)  # says so where it is missing
    with tempfile.TemporaryDirectory() as place, headless_browser() as browser:
        shutil.copytree(folder, Path(place) / "library")
        with served(Path(place) / "library") as address:
            take(browser, address, given)


if __name__ == "__main__":
    main()
