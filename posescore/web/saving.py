"""The score log as a file to keep."""

from __future__ import annotations

import re
from typing import Final

from fastapi.responses import Response

from posescore.export.export import FORMATS, export_text
from posescore.library.library import Library
from posescore.library.match import Match
from posescore.web import wire

EXPORTS: Final = [wire.ExportOut(name=name, text=known.text) for name, known in FORMATS.items()]


def saved_log(library: Library, match_id: int, format_name: str, opinion: str) -> Response:
    """The log as a download named after the match.

    Raises
    ------
    InputError
        When there is no such format.
    NotFoundError
        When there is no such match, or it was never analysed.
    """
    text = export_text(library, match_id, format_name, opinion)
    name = f"{file_stem(library.match(match_id))}{FORMATS[format_name].suffix}"
    headers = {
        "Content-Disposition": f'attachment; filename="{name}"',
        "Cache-Control": "no-store",
    }
    return Response(text.encode(), media_type=FORMATS[format_name].media_type, headers=headers)


def file_stem(match: Match) -> str:
    """A file name that every system takes, after the match's title."""
    return plain_stem(match.info.title) or f"match-{match.id}"


def plain_stem(text: str) -> str:
    """Letters, digits and hyphens of a text; "" where it has none."""
    return re.sub(r"[^A-Za-z0-9]+", "-", text).strip("-").lower()
