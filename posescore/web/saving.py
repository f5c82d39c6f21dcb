"""The score log as a file to keep."""

from __future__ import annotations

import re
from typing import Final

from fastapi.responses import Response

from posescore.errors import InputError
from posescore.export.export import FORMATS, MEDIA_TYPES, SUFFIXES
from posescore.library.match import Match
from posescore.library.review import Review
from posescore.web import wire

_TEXTS: Final = {
    "csv": "Table for a spreadsheet (CSV)",
    "json": "Score log (JSON)",
    "webvtt": "Chapters for a player (WebVTT)",
    "holds-csv": "Table of positions (CSV)",
    "frames-csv": "Position of every frame (CSV)",
}

EXPORTS: Final = [
    wire.ExportOut(name=name, text=_TEXTS.get(name, name.replace("-", " "))) for name in FORMATS
]


def saved_log(match: Match, review: Review, format_name: str) -> Response:
    """The log as a download named after the match.

    Raises
    ------
    InputError
        When there is no such format.
    """
    write = FORMATS.get(format_name)
    if write is None:
        raise InputError(f"format: {format_name!r} is not one of {', '.join(FORMATS)}.")
    name = f"{file_stem(match)}{SUFFIXES[format_name]}"
    headers = {
        "Content-Disposition": f'attachment; filename="{name}"',
        "Cache-Control": "no-store",
    }
    text = write(review, match)
    return Response(text.encode(), media_type=MEDIA_TYPES[format_name], headers=headers)


def file_stem(match: Match) -> str:
    """A file name that every system takes, after the match's title."""
    return plain_stem(match.info.title) or f"match-{match.id}"


def plain_stem(text: str) -> str:
    """Letters, digits and hyphens of a text; "" where it has none."""
    return re.sub(r"[^A-Za-z0-9]+", "-", text).strip("-").lower()
