"""Athletes across matches: their names, and their numbers as files."""

from __future__ import annotations

import io
from typing import Annotated, Final
from zipfile import ZIP_DEFLATED, ZipFile

from fastapi import APIRouter, Body, Query
from fastapi.responses import Response
from pydantic import BaseModel, Field

from posescore.errors import InputError
from posescore.export.across import COLUMNS, across_csv, across_json, across_matches, athletes_of
from posescore.library.athletes import change_athletes
from posescore.library.library import Library
from posescore.web.api.export import plain_stem

_MEDIA: Final = {"json": "application/json", "csv": "application/zip", "html": "text/html"}


class AthleteCountOut(BaseModel):
    """An athlete by name, and in how many analysed matches."""

    name: str
    matches: int


class AthletesIn(BaseModel):
    """Whom to change, and how: "" leaves the name, null the team as it is."""

    names: list[str]
    name: str = Field(default="", max_length=120)
    team: str | None = Field(default=None, max_length=120)


class ChangedOut(BaseModel):
    """In how many matches something changed."""

    matches: int


def athlete_router(library: Library) -> APIRouter:
    """The endpoints under ``/api/athletes``."""
    router = APIRouter(prefix="/athletes")

    @router.get("", summary="Athletes of all analysed matches")
    def athletes() -> list[AthleteCountOut]:
        found = athletes_of(library)
        return [AthleteCountOut(name=name, matches=count) for name, count in found.items()]

    @router.post("/change", summary="Rename or merge athletes, or give them a team")
    def change(body: Annotated[AthletesIn, Body()]) -> ChangedOut:
        """In every match at once; several names become one athlete."""
        return ChangedOut(matches=change_athletes(library, body.names, body.name, body.team))

    @router.get("/file", response_class=Response, summary="One athlete's numbers as a file")
    def file(name: str, format_name: Annotated[str, Query(alias="format")] = "json") -> Response:
        """``json``, ``html`` (a page with plots that needs nothing else), or ``csv`` (a ZIP)."""
        if format_name not in _MEDIA:
            raise InputError(f"format: {format_name!r} is not one of {', '.join(_MEDIA)}.")
        suffix = "zip" if format_name == "csv" else format_name
        saved = f'attachment; filename="{plain_stem(name) or "athlete"}.{suffix}"'
        return Response(
            _content(library, name, format_name),
            media_type=_MEDIA[format_name],
            headers={"Cache-Control": "no-store", "Content-Disposition": saved},
        )

    return router


def _content(library: Library, name: str, format_name: str) -> bytes:
    from posescore.export.across_page import across_html

    across = across_matches(library, name)
    if format_name == "json":
        return across_json(across).encode()
    if format_name == "html":
        return across_html(across).encode()
    box = io.BytesIO()
    with ZipFile(box, "w", ZIP_DEFLATED) as tables:
        for table in COLUMNS:
            tables.writestr(f"{table}.csv", across_csv(across, table))
    return box.getvalue()
