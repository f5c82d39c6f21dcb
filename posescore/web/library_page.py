"""The page of the library: the list of matches, with the notes that belong under it."""

from __future__ import annotations

from typing import Final

from nicegui import ui
from nicegui.element import Element

SAFETY: Final = (
    ("On the mat", "Practise chokes and joint locks under a qualified instructor only."),
    ("The call", "These are proposals. A person decides here, and the referee's call stands."),
    ("Consent", "Footage of people needs their consent; of minors, their parents' as well."),
    ("Your machine", "Everything stays on this machine. Nothing is ever uploaded."),
)
"""Shown under the list of matches."""


class LibraryRoom(Element, component="library_room.js"):
    """Adding matches, the list of them, where each stands, and what can be done with it."""


def add_library() -> None:
    """Fill the page."""
    with ui.element("div").classes("room"), ui.element("div").classes("shelf"):
        LibraryRoom()
        with ui.element("footer").classes("notes"), ui.element("ul"):
            for heading, sentence in SAFETY:
                with ui.element("li"):
                    _text("b", heading)
                    _text("span", sentence)


def _text(tag: str, text: str) -> None:
    ui.element(tag)._text = text
