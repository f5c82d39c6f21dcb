"""The pages: the list of matches, and the review of one match."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Final

from fastapi import FastAPI
from fastapi.staticfiles import StaticFiles
from nicegui import app as nicegui_app
from nicegui import ui
from nicegui.dependencies import register_esm

from posescore.library.library import Library
from posescore.web.athlete_routes import athlete_pages
from posescore.web.library_page import add_library
from posescore.web.review_pages import LessonRoom, OpinionRoom, ReviewRoom

ASSETS: Final = Path(__file__).parent / "assets"
ICON: Final = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 32 32">'
    '<rect width="32" height="32" rx="7" fill="#17594a"/>'
    '<circle cx="11" cy="10" r="3.4" fill="#ffa544"/><path d="M11 13v7l-5 5m5-5 6 4" fill="none" '
    'stroke="#ffa544" stroke-width="2.4" stroke-linecap="round"/><rect x="19" y="7" width="6" '
    'height="6" fill="#58ccff"/><path d="M22 13v7l5 5" fill="none" stroke="#58ccff" '
    'stroke-width="2.4" stroke-dasharray="3 2"/></svg>'
)
# Browsers keep the scripts for good under an address that changes with the newest file.
register_esm("posescore-room", ASSETS, max_time=max(p.stat().st_mtime for p in ASSETS.iterdir()))


def mount_pages(app: FastAPI, library: Library) -> None:
    """Put the pages beside the API, with everything that reaches out or reloads turned off."""
    app.mount("/assets", StaticFiles(directory=ASSETS), name="assets")
    app.include_router(athlete_pages(library))
    _add_pages(library)
    # The bar that the toolkit shows during every fetch has no name for screen readers.
    nicegui_app.config.quasar_config["loadingBar"]["skipHijack"] = True
    ui.run_with(
        app,
        title="PoseScore",
        favicon=ICON,
        dark=None,
        language="en-US",
        viewport="width=device-width, initial-scale=1",
        tailwind=False,
        unocss=None,
        on_air=None,
        storage_secret=None,
        show_welcome_message=False,
        # A busy machine may be slow to answer; a page that is given up is loaded again.
        reconnect_timeout=30.0,
        binding_refresh_interval=None,
        prod_js=True,
    )


def _add_pages(library: Library) -> None:
    @ui.page("/", title="Matches – PoseScore")
    def shelf() -> None:
        _head("room.css", "library.css")
        add_library()

    @ui.page("/match/{match_id}", title="Review – PoseScore")
    def review(match_id: int, opinion: str = "") -> None:
        _head("room.css")
        ReviewRoom(match_id, opinion)

    @ui.page("/match/{match_id}/opinions", title="Second opinion – PoseScore")
    def opinions(match_id: int, one: str = "", other: str = "") -> None:
        _head("room.css")
        OpinionRoom(match_id, one, other)

    @ui.page("/match/{match_id}/lesson", title="Lesson – PoseScore")
    def lesson(match_id: int) -> None:
        _head("room.css")
        LessonRoom(match_id)


def _head(*styles: str) -> None:
    for name in styles:
        version = hashlib.sha256((ASSETS / name).read_bytes()).hexdigest()[:12]
        ui.add_head_html(f'<link rel="stylesheet" href="/assets/{name}?v={version}">')
