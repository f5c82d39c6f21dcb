"""A video file as browsers ask for it: in ranges, with If-Range and HEAD."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Final

from fastapi import Request
from fastapi.responses import FileResponse, JSONResponse, Response

_RANGE: Final = re.compile(r"(\d*)-(\d*)")

MEDIA_TYPES: Final = {
    ".mp4": "video/mp4",
    ".m4v": "video/mp4",
    ".mov": "video/mp4",
    ".webm": "video/webm",
    ".mkv": "video/x-matroska",
}
"""Browsers play H.264 in a QuickTime box when it is called MP4, and refuse it by its own name."""


def footage_response(path: Path, request: Request) -> Response:
    """The file, or the part that was asked for; 416 where that part does not exist."""
    asked = request.headers.get("range")
    size = path.stat().st_size
    if asked is not None and not _is_possible(asked, size):
        return JSONResponse(
            {"error": f"Range {asked!r} is not part of this footage of {size} bytes."},
            416,
            {"Content-Range": f"bytes */{size}"},
        )
    media_type = MEDIA_TYPES.get(path.suffix.lower())
    # It may change when the match is analysed again: ask each time, answer 206 from the same file.
    return FileResponse(path, media_type=media_type, headers={"Cache-Control": "no-cache"})


def _is_possible(asked: str, size: int) -> bool:
    unit, _, ranges = asked.partition("=")
    if unit.strip().lower() != "bytes":
        return False
    return all(_is_range(part.strip(), size) for part in ranges.split(","))


def _is_range(part: str, size: int) -> bool:
    found = _RANGE.fullmatch(part)
    if found is None or part == "-":
        return False
    start, end = found.groups()
    if not start:
        return int(end) > 0 and size > 0
    return int(start) < size and (not end or int(start) <= int(end))
