"""Write a match of the library to a file, whole or not at all."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Final

from posescore.errors import InputError
from posescore.export.cues import log_webvtt
from posescore.export.keypoints import keypoints_json
from posescore.export.score_log import log_json
from posescore.export.tables import frames_csv, holds_csv, log_csv
from posescore.footage.atomic import write_whole
from posescore.library.library import Library
from posescore.library.match import Match
from posescore.library.review.review import Review

Written = Callable[[Library, Match, Review], str]


def _of_review(write: Callable[[Review, Match], str]) -> Written:
    """What is written of the review alone."""
    return lambda library, match, review: write(review, match)


FORMATS: Final[Mapping[str, Written]] = {
    "csv": _of_review(log_csv),
    "json": _of_review(log_json),
    "webvtt": _of_review(log_webvtt),
    "holds-csv": _of_review(holds_csv),
    "frames-csv": _of_review(frames_csv),
    "coco": keypoints_json,
}
SUFFIXES: Final[Mapping[str, str]] = {
    "csv": ".csv",
    "json": ".json",
    "webvtt": ".vtt",
    "holds-csv": ".holds.csv",
    "frames-csv": ".frames.csv",
    "coco": ".coco.json",
}
MEDIA_TYPES: Final[Mapping[str, str]] = {
    "csv": "text/csv; charset=utf-8",
    "json": "application/json",
    "webvtt": "text/vtt; charset=utf-8",
    "holds-csv": "text/csv; charset=utf-8",
    "frames-csv": "text/csv; charset=utf-8",
    "coco": "application/json",
}


def export_text(library: Library, match_id: int, format_name: str, opinion: str = "") -> str:
    """A match in one of :data:`FORMATS`.

    Raises
    ------
    InputError
        When there is no such format.
    NotFoundError
        When there is no such match, or it was never analysed.
    """
    write = FORMATS.get(format_name)
    if write is None:
        raise InputError(f"format: {format_name!r} is not one of {', '.join(FORMATS)}.")
    return write(library, library.match(match_id), library.review(match_id, opinion))


def export_match(
    library: Library, match_id: int, format_name: str, out: Path, opinion: str = ""
) -> Path:
    """Write a match to a file; a file that was there is replaced only by a whole one.

    Raises
    ------
    StorageError
        When the file cannot be written.
    """
    text = export_text(library, match_id, format_name, opinion)
    if out.is_dir():
        raise InputError(f"{out} is a folder: name the file to write.")
    write_whole(out, text.encode("utf-8"))
    return out
