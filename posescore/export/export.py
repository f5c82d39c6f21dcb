"""Write a match of the library to a file, whole or not at all."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from posescore.errors import InputError
from posescore.export.cues import log_webvtt
from posescore.export.keypoints import keypoints_json
from posescore.export.results import result_csv
from posescore.export.score_log import log_json
from posescore.export.tables import frames_csv, holds_csv, log_csv
from posescore.footage.atomic import write_whole
from posescore.library.library import Library
from posescore.library.match import Match
from posescore.library.review.review import Review


@dataclass(frozen=True, slots=True)
class Format:
    """A format that a match can be saved in: all that the commands and pages know of it."""

    text: str
    suffix: str
    media_type: str
    write: Callable[[Library, Match, Review], str]


_CSV: Final = "text/csv; charset=utf-8"
FORMATS: Final[Mapping[str, Format]] = {
    "csv": Format(
        "Table for a spreadsheet (CSV)", ".csv", _CSV, lambda _, match, log: log_csv(log, match)
    ),
    "json": Format(
        "Score log (JSON)", ".json", "application/json", lambda _, match, log: log_json(log, match)
    ),
    "webvtt": Format(
        "Chapters for a player (WebVTT)", ".vtt", "text/vtt; charset=utf-8",
        lambda _, match, log: log_webvtt(log, match),
    ),
    "result-csv": Format(
        "Result and official score (CSV)", ".result.csv", _CSV,
        lambda _, match, log: result_csv(log, match),
    ),
    "holds-csv": Format(
        "Table of positions (CSV)", ".holds.csv", _CSV, lambda _, match, log: holds_csv(log, match)
    ),
    "frames-csv": Format(
        "Position of every frame (CSV)", ".frames.csv", _CSV, lambda _, __, log: frames_csv(log)
    ),
    "coco": Format(
        "Keypoints and positions (COCO JSON)", ".coco.json", "application/json", keypoints_json
    ),
}  # fmt: skip


def export_text(library: Library, match_id: int, format_name: str, opinion: str = "") -> str:
    """A match in one of :data:`FORMATS`.

    Raises
    ------
    InputError
        When there is no such format.
    NotFoundError
        When there is no such match, or it was never analysed.
    """
    known = FORMATS.get(format_name)
    if known is None:
        raise InputError(f"format: {format_name!r} is not one of {', '.join(FORMATS)}.")
    return known.write(library, library.match(match_id), library.review(match_id, opinion))


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
