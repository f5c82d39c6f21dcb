"""The score log as a file to keep."""

from __future__ import annotations

import re
from typing import Annotated, Final, Literal

from fastapi import APIRouter, Query
from fastapi.responses import Response

from posescore.export.export import FORMATS, export_text
from posescore.library.library import Library
from posescore.library.match import Match

_CALL_TYPES: Final = {"html": "text/html; charset=utf-8", "pdf": "application/pdf"}


def export_router(library: Library) -> APIRouter:
    """The endpoint for the score log as a file."""
    router = APIRouter(prefix="/matches/{match_id}")

    @router.get("/export", response_class=Response, summary="The score log as a file")
    def export(
        match_id: int, format_name: Annotated[str, Query(alias="format")], opinion: str = ""
    ) -> Response:
        """The log as a download named after the match."""
        text = export_text(library, match_id, format_name, opinion)
        name = f"{file_stem(library.match(match_id))}{FORMATS[format_name].suffix}"
        saved = f'attachment; filename="{name}"'
        headers = {"Content-Disposition": saved, "Cache-Control": "no-store"}
        return Response(text.encode(), media_type=FORMATS[format_name].media_type, headers=headers)

    @router.get("/call", response_class=Response, summary="The sheet for one call as a file")
    def call(
        match_id: int,
        line: str = "",
        one: str = "",
        other: str = "",
        format_name: Annotated[Literal["html", "pdf"], Query(alias="format")] = "html",
        hide_faces: bool = False,
    ) -> Response:
        """Frames, criteria, opinions and settlement of one line, on one page."""
        from posescore.export.call_pdf import call_pdf
        from posescore.export.call_sheet import call_html, call_of
        from posescore.export.shots import Showing

        showing = Showing(hide_faces=hide_faces)
        sheet = call_of(library, match_id, line, (one, other), showing)
        content = call_pdf(sheet) if format_name == "pdf" else call_html(sheet).encode()
        name = f"{file_stem(sheet.match)}-{plain_stem(sheet.heading)}.{format_name}"
        headers = {
            "Content-Disposition": f'attachment; filename="{name}"',
            "Cache-Control": "no-store",
        }
        return Response(content, media_type=_CALL_TYPES[format_name], headers=headers)

    return router


def file_stem(match: Match) -> str:
    """A file name that every system takes, after the match's title."""
    return plain_stem(match.info.title) or f"match-{match.id}"


def plain_stem(text: str) -> str:
    """Letters, digits and hyphens of a text; "" where it has none."""
    return re.sub(r"[^A-Za-z0-9]+", "-", text).strip("-").lower()
