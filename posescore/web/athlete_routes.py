"""Athletes across matches: a page with plots, and its tables as files."""

from __future__ import annotations

import io
from html import escape
from typing import Annotated, Final
from urllib.parse import urlencode
from zipfile import ZIP_DEFLATED, ZipFile

from fastapi import APIRouter, Query
from fastapi.responses import HTMLResponse, Response
from pydantic import BaseModel

from posescore.errors import InputError, PoseScoreError
from posescore.export.across import (
    COLUMNS,
    across_csv,
    across_json,
    across_matches,
    athletes_of,
)
from posescore.library.library import Library
from posescore.web.saving import plain_stem
from posescore.words import counted

_NO_STORE: Final = {"Cache-Control": "no-store"}
_MEDIA: Final = {"json": "application/json", "csv": "application/zip", "html": "text/html"}


class AthleteCountOut(BaseModel):
    """An athlete by name, and in how many analysed matches."""

    name: str
    matches: int


def athlete_router(library: Library) -> APIRouter:
    """The endpoints under ``/api/athletes``."""
    router = APIRouter(prefix="/athletes")

    @router.get("", summary="Athletes of all analysed matches")
    def athletes() -> list[AthleteCountOut]:
        found = athletes_of(library)
        return [AthleteCountOut(name=name, matches=count) for name, count in found.items()]

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
            headers={**_NO_STORE, "Content-Disposition": saved},
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


def athlete_pages(library: Library) -> APIRouter:
    """The list of athletes, and the page of one."""
    router = APIRouter(include_in_schema=False)

    @router.get("/athletes", response_class=HTMLResponse)
    def page(name: str = "") -> HTMLResponse:
        try:
            text = _page(library, name) if name else _list(athletes_of(library))
            return HTMLResponse(text, headers=_NO_STORE)
        except PoseScoreError as error:
            return HTMLResponse(
                _shell("Athletes", f'<p role="alert">{escape(str(error))}</p>{_ALL}'),
                error.http_status,
                headers=_NO_STORE,
            )

    return router


_ALL: Final = '<p><a href="/athletes">All athletes</a></p>'


def _page(library: Library, name: str) -> str:
    from posescore.export.across_page import Link, across_html

    across = across_matches(library, name)

    def saved(format_name: str) -> str:
        return f"/api/athletes/file?{urlencode({'name': across.name, 'format': format_name})}"

    links = [
        Link("/", "All matches"),
        Link("/athletes", "All athletes"),
        Link(saved("html"), "Save this page", True),
        Link(saved("csv"), "Save the tables (CSV)", True),
        Link(saved("json"), "Save the tables (JSON)", True),
    ]
    return across_html(across, links)


def _list(found: dict[str, int]) -> str:
    if not found:
        return _shell("Athletes", "<p>No analysed match names an athlete yet.</p>")
    rows = "".join(
        f'<li><a class="card" href="/athletes?{escape(urlencode({"name": name}))}">'
        f"<b>{escape(name)}</b><br>{counted(count, 'match', 'matches')}</a></li>"
        for name, count in found.items()
    )
    hint = "<p>Athletes are told apart by name: two people of one name are one here.</p>"
    return _shell("Athletes across matches", f'<ul class="cards">{rows}</ul>{hint}')


def _shell(heading: str, body: str) -> str:
    return (
        '<!DOCTYPE html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{heading} – PoseScore</title>"
        '<link rel="stylesheet" href="/assets/room.css"></head>'
        '<body><div class="room"><main class="shelf"><header class="shelf-head"><div>'
        f'<h1>{heading}</h1><p><a href="/">All matches</a></p></div></header>{body}</main></div>'
        "</body></html>"
    )
