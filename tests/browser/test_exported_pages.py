"""Reports and lessons in a real browser: accessible, without complaints, on a phone too."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser

from posescore.export.lesson import write_lesson
from posescore.export.report import write_report
from posescore.library.library import Library
from posescore.library.match import Match
from tests.export.conftest import filmed, footage, looked_at

__all__ = ["filmed", "footage", "looked_at"]

pytestmark = pytest.mark.browser


@pytest.mark.parametrize("name", ["report", "lesson"])
@pytest.mark.parametrize(("width_px", "scheme"), [(1100, "light"), (390, "dark")])
def test_pages_are_accessible(
    browser: Browser, looked_at: tuple[Library, Match], tmp_path: Path, name: str, width_px: int,
    scheme: Literal["light", "dark"],
) -> None:  # fmt: skip
    library, match = looked_at
    write = {"report": write_report, "lesson": write_lesson}[name]
    out = write(library, match.id, tmp_path / f"{name}.html")
    page = browser.new_page(viewport={"width": width_px, "height": 800}, color_scheme=scheme)
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.on(
        "request", lambda asked: asked.url.startswith(("file:", "data:")) or said.append(asked.url)
    )
    page.goto(out.as_uri())
    broken = page.evaluate(
        "[...document.images].filter(i => !i.complete || !i.naturalWidth).length"
    )
    assert broken == 0
    assert page.evaluate("document.documentElement.scrollWidth") <= width_px
    if name == "lesson":
        page.wait_for_function("[...document.querySelectorAll('video')].every(v => v.duration > 0)")
    paper = page.evaluate("getComputedStyle(document.body).backgroundColor")
    assert (paper == "rgb(255, 255, 255)") is (scheme == "light")
    faults = Axe().run(page).response["violations"]
    assert [(fault["id"], fault["impact"]) for fault in faults] == []
    assert said == []
    page.close()
