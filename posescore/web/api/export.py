"""The score log as a file to keep."""

from __future__ import annotations

import re
from typing import Annotated

from fastapi import APIRouter, Query
from fastapi.responses import Response

from posescore.export.export import FORMATS, export_text
from posescore.library.library import Library
from posescore.library.match import Match


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

    return router


def file_stem(match: Match) -> str:
    """A file name that every system takes, after the match's title."""
    return plain_stem(match.info.title) or f"match-{match.id}"


def plain_stem(text: str) -> str:
    """Letters, digits and hyphens of a text; "" where it has none."""
    return re.sub(r"[^A-Za-z0-9]+", "-", text).strip("-").lower()
