"""The score log as a file to keep."""

from __future__ import annotations

import re
from typing import Annotated, Final

from fastapi import APIRouter, Query
from fastapi.responses import Response

from posescore.export.export import FORMATS, MEDIA_TYPES, SUFFIXES, export_text
from posescore.library.library import Library
from posescore.library.match import Match
from posescore.web.api.schemas import ExportOut

_TEXTS: Final = {
    "csv": "Table for a spreadsheet (CSV)",
    "json": "Score log (JSON)",
    "webvtt": "Chapters for a player (WebVTT)",
    "holds-csv": "Table of positions (CSV)",
    "frames-csv": "Position of every frame (CSV)",
    "coco": "Keypoints and positions (COCO JSON)",
}

EXPORTS: Final = [
    ExportOut(name=name, text=_TEXTS.get(name, name.replace("-", " "))) for name in FORMATS
]


def export_router(library: Library) -> APIRouter:
    """The endpoint for the score log as a file."""
    router = APIRouter(prefix="/matches/{match_id}")

    @router.get("/export", response_class=Response, summary="The score log as a file")
    def export(
        match_id: int, format_name: Annotated[str, Query(alias="format")], opinion: str = ""
    ) -> Response:
        """The log as a download named after the match."""
        text = export_text(library, match_id, format_name, opinion)
        name = f"{file_stem(library.match(match_id))}{SUFFIXES[format_name]}"
        saved = f'attachment; filename="{name}"'
        headers = {"Content-Disposition": saved, "Cache-Control": "no-store"}
        return Response(text.encode(), media_type=MEDIA_TYPES[format_name], headers=headers)

    return router


def file_stem(match: Match) -> str:
    """A file name that every system takes, after the match's title."""
    return plain_stem(match.info.title) or f"match-{match.id}"


def plain_stem(text: str) -> str:
    """Letters, digits and hyphens of a text; "" where it has none."""
    return re.sub(r"[^A-Za-z0-9]+", "-", text).strip("-").lower()
