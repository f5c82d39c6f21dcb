"""What is shown at an address that is no page of ours."""

from __future__ import annotations

from typing import Final

from fastapi import Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import HTMLResponse, Response
from nicegui import app as nicegui_app

_PAGE: Final = """<!doctype html><html lang="en"><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>No such page – PoseScore</title><link rel="stylesheet" href="/assets/room.css"></head>
<body><main class="room waiting"><h1>There is no such page</h1>
<p>It may have been mistyped. <a href="/">All matches</a></p></main></body></html>"""


def add_not_found() -> None:
    """Answer with our own page in place of the toolkit's, also where a number is none."""
    nicegui_app.add_exception_handler(404, _not_found)
    nicegui_app.add_exception_handler(RequestValidationError, _not_found)


async def _not_found(request: Request, error: Exception) -> Response:
    return HTMLResponse(_PAGE, 404)
