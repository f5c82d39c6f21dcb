"""Clips of a match: one for each award, or an annotated copy of the whole.

Times in a clip count from its first frame; frames keep the distances that they have in the
footage, at a variable rate too. There is no sound.
"""

from __future__ import annotations

import re
import tempfile
import unicodedata
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from posescore.errors import InputError
from posescore.export.evidence import Still, look_at
from posescore.export.rows import ROUNDING_S, LogLine, frame_at
from posescore.export.sentences import kind_of
from posescore.export.shots import USUAL, Shots, Showing, shots_of
from posescore.export.summary import summary_of
from posescore.footage.atomic import replacing, storage_error
from posescore.footage.drawing import Picture
from posescore.footage.encoding import write_film
from posescore.library.library import Library
from posescore.terms import Progress, silent
from posescore.words import trade

BEFORE_S: Final = 5.0
"""Enough to see how a position came about; the seconds that count lie inside."""
AFTER_S: Final = 2.0


def write_clips(
    library: Library,
    match_id: int,
    folder: Path,
    *,
    before_s: float = BEFORE_S,
    after_s: float = AFTER_S,
    proposed: bool = False,
    opinion: str = "",
    showing: Showing = USUAL,
    progress: Progress = silent,
) -> list[Path]:
    """Write an MP4 for every award that people let stand, all of them or none.

    Parameters
    ----------
    folder
        Where they go; made where it is missing. Clips of the same names are replaced.
    before_s, after_s
        Seconds of footage before and after the instant of an award; for what nearly scored, before
        and after the end of its position.
    proposed
        Also write clips of what is only proposed; their names say so.
    showing
        Skeletons and hidden faces; :mod:`posescore.export.faces` says what hiding cannot do.
    progress
        Called with frames done and all frames; what it raises ends the work, and then nothing
        of it is left behind.

    Returns
    -------
    list of Path
        The clips, in the order of the awards. A name holds the line of the log, the athlete, the
        award, and the frame index and seconds of its instant.

    Raises
    ------
    InputError
        When there is no award, the seconds make no sense, or faces cannot be hidden.
    NotFoundError
        When there is no such match or no footage.
    StorageError
        When the folder cannot be written.
    """
    if not (0 <= before_s < float("inf") and 0 <= after_s < float("inf")):
        raise InputError("seconds before and after an award are numbers from 0 up.")
    match, review = library.match(match_id), library.review(match_id, opinion)
    summary = summary_of(review, match)
    lines = [*summary.awards, *(summary.proposed if proposed else ())]
    if not lines:
        raise InputError(
            f"match {match_id}: no award is confirmed yet: confirm some, or ask for proposed ones."
        )
    shots = shots_of(library, match, review, showing)
    parts = [
        (clip_name(line), *_stretch(line, look_at(line.item, review), shots, before_s, after_s))
        for line in lines
    ]
    total = sum(last - first + 1 for _, first, last in parts)
    counted = _counting(progress, total)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix=".part-", dir=folder) as passing:
            for name, first, last in parts:
                write_stretch(shots, Path(passing) / name, first, last, counted)
            return [(Path(passing) / name).replace(folder / name) for name, _, _ in parts]
    except OSError as error:
        raise storage_error(folder, error) from error


def write_annotated(
    library: Library,
    match_id: int,
    out: Path,
    *,
    opinion: str = "",
    showing: Showing = USUAL,
    progress: Progress = silent,
) -> Path:
    """Write a copy of the whole match with skeletons, wholly or not at all.

    Raises
    ------
    InputError
        When the file's name does not end in ``.mp4``, it is the footage itself, or faces cannot
        be hidden.
    NotFoundError
        When there is no such match or no footage.
    StorageError
        When the file cannot be written.
    """
    match, review = library.match(match_id), library.review(match_id, opinion)
    if out.suffix.lower() != ".mp4":
        raise InputError(f"{out}: name a file that ends in .mp4.")
    shots = shots_of(library, match, review, showing)
    if out.exists() and out.samefile(shots.footage.path):
        raise InputError(f"{out} is the footage itself: name another file.")
    last = len(shots.clock) - 1
    with replacing(out) as unfinished:
        write_stretch(shots, unfinished, 0, last, _counting(progress, last + 1))
    return out


def clip_name(line: LogLine) -> str:
    """Say ``03-A-mount-frame-945-31.500s.mp4``; what nobody confirmed says ``proposed``."""
    shown = line.item.shown
    words = [f"{line.number:02d}", str(shown.athlete or "nobody"), trade(kind_of(shown))]
    if line.item.decision is None:
        words.append("proposed")
    words += ["frame", str(line.frame_index), f"{line.time_s:.3f}s"]
    return f"{plain_name('-'.join(words))}.mp4"


def plain_name(text: str) -> str:
    """A file name that every system takes: letters, digits, points and hyphens."""
    flat = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode("ascii")
    return re.sub(r"[^A-Za-z0-9.]+", "-", flat).strip("-.") or "clip"


def _stretch(
    line: LogLine, look: Still, shots: Shots, before_s: float, after_s: float
) -> tuple[int, int]:
    """First and last frame of a clip; the frame to look at is always in it."""
    around_s = line.time_s if look.frame_index == line.frame_index else look.time_s
    first = frame_at(shots.clock, max(0.0, around_s - before_s))
    last = shots.clock.frame_index(around_s + after_s - ROUNDING_S)
    return min(first, look.frame_index), max(last, look.frame_index)


def _counting(progress: Progress, total: int) -> Iterator[None]:
    """Each step reports one frame more."""
    for done in range(1, total + 1):
        progress("filming", done, total)
        yield


def write_stretch(
    shots: Shots,
    path: Path,
    first: int,
    last: int,
    counted: Iterator[None] | None = None,
    size_px: tuple[int, int] | None = None,
    quality: int = 21,
) -> None:
    """Write the frames of those indices, both included; ``counted`` moves on with each."""
    clock = shots.clock
    starts_s = clock.time_s(first)
    ends_s = clock.end_s if last + 1 == len(clock) else clock.time_s(last + 1)

    def pictures() -> Iterator[tuple[float, Picture]]:
        for frame, picture in shots.frames(first, last):
            if counted is not None:
                next(counted, None)
            yield frame.time_s - starts_s, picture

    size_px = size_px or shots.footage.size_px
    write_film(path, pictures(), ends_s - starts_s, size_px, quality=quality)
