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
from nicegui.element import Element

from posescore.errors import PoseScoreError
from posescore.library.library import Library
from posescore.library.match import Match
from posescore.terms import BONES, Athlete
from posescore.web.view import match_out

ASSETS: Final = Path(__file__).parent / "assets"
ICON: Final = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 32 32">'
    '<rect width="32" height="32" rx="7" fill="#17594a"/>'
    '<circle cx="11" cy="10" r="3.4" fill="#ffa544"/><path d="M11 13v7l-5 5m5-5 6 4" fill="none" '
    'stroke="#ffa544" stroke-width="2.4" stroke-linecap="round"/><rect x="19" y="7" width="6" '
    'height="6" fill="#58ccff"/><path d="M22 13v7l5 5" fill="none" stroke="#58ccff" '
    'stroke-width="2.4" stroke-dasharray="3 2"/></svg>'
)
MOST_CARDS: Final = 48
"""Every card replays its match's log; more of them would make the list slow."""

SAFETY: Final = (
    ("On the mat", "Practise chokes and joint locks under a qualified instructor only."),
    ("The call", "These are proposals. A person decides here, and the referee's call stands."),
    ("Consent", "Footage of people needs their consent; of minors, their parents' as well."),
    ("Your machine", "Everything stays on this machine. Nothing is ever uploaded."),
)
"""Shown under the list of matches."""


# Browsers keep the scripts for good under an address that changes with the newest file.
register_esm("posescore-room", ASSETS, max_time=max(p.stat().st_mtime for p in ASSETS.iterdir()))


class ReviewRoom(Element, component="review_room.js"):
    """Footage, skeletons, strip, proposals and score of one match."""

    def __init__(self, match_id: int) -> None:
        super().__init__()
        self._props["match-id"] = match_id
        self._props["bones"] = [list(bone) for bone in BONES]


def mount_pages(app: FastAPI, library: Library) -> None:
    """Put the pages beside the API, with everything that reaches out or reloads turned off."""
    app.mount("/assets", StaticFiles(directory=ASSETS), name="assets")
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
    def shelf(search: str = "") -> None:
        _head()
        with ui.element("div").classes("room"), ui.element("div").classes("shelf"):
            _shelf_head(search)
            try:
                _cards(library.matches(search), library, search)
            except PoseScoreError as error:
                _text("p", str(error), "trouble")
            _notes()

    @ui.page("/match/{match_id}", title="Review – PoseScore")
    def review(match_id: int) -> None:
        _head()
        ReviewRoom(match_id)


def _head() -> None:
    style = ASSETS / "room.css"
    version = hashlib.sha256(style.read_bytes()).hexdigest()[:12]
    ui.add_head_html(f'<link rel="stylesheet" href="/assets/room.css?v={version}">')


def _text(tag: str, text: str, classes: str = "") -> None:
    element = ui.element(tag).classes(classes)
    element._text = text


def _shelf_head(search: str) -> None:
    with ui.element("header").classes("shelf-head"):
        with ui.element("div"):
            _text("h1", "PoseScore")
            _text("p", "Matches whose points wait for you, or were settled by you.")
        with ui.element("form").props('role="search" action="/" method="get"').classes("search"):
            field = ui.element("input").props('type="search" name="search" aria-label="Search"')
            field.props["placeholder"] = "Name, event, belt, colour"
            field.props["value"] = search
            with ui.element("button").props('type="submit"'):
                _text("span", "Search")


def _cards(matches: list[Match], library: Library, search: str) -> None:
    if search and not matches:
        with ui.element("div").classes("nothing"):
            _text("p", f"No match holds all of: {search}")
            with ui.element("a").props('href="/"'):
                _text("span", "All matches")
        return
    if not matches:
        with ui.element("div").classes("nothing"):
            _text("p", "There is no match yet. Add one from the command line:")
            _text("code", "posescore analyze VIDEO")
        return
    with ui.element("ul").classes("cards").props('aria-label="Matches"'):
        for match in matches[:MOST_CARDS]:
            with ui.element("li"):
                _card(match, library)
    if len(matches) > MOST_CARDS:
        _text("p", f"{len(matches) - MOST_CARDS} more: search for them by name, event or day.")


def _card(match: Match, library: Library) -> None:
    shown = match_out(match)
    waits, score = _state(match, library)
    with ui.element("a").classes("card").props(f'href="/match/{match.id}"'):
        _text("h2", shown.title)
        _text("p", shown.about, "about")
        with ui.element("div").classes("pairing"):
            for athlete in Athlete:
                _text("b", athlete.value, f"chip chip-{athlete.value}")
                _text("span", shown.athletes[athlete].shown)
                _text("b", score[athlete], "num")
        _text("p", waits, "waits")


def _state(match: Match, library: Library) -> tuple[str, dict[Athlete, str]]:
    """What still waits, in words, and the confirmed points of both."""
    nothing = dict.fromkeys(Athlete, "")
    if match.analysis_version is None:
        return "Not analysed yet.", nothing
    try:
        review = library.review(match.id)
    except PoseScoreError as error:
        return str(error), nothing
    points = {athlete: str(tally.points) for athlete, tally in review.confirmed_score.items()}
    return _waits(len(review.undecided), len(review.items)), nothing | points


def _waits(waiting: int, total: int) -> str:
    if not total:
        return "Nothing was proposed."
    return f"{waiting} of {total} proposals wait for you." if waiting else "All decided."


def _notes() -> None:
    with ui.element("footer").classes("notes"), ui.element("ul"):
        for heading, sentence in SAFETY:
            with ui.element("li"):
                _text("b", heading)
                _text("span", sentence)
