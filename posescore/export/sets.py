"""A set of moments across matches as one film, each after the other."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Final

import numpy as np

from posescore.errors import InputError
from posescore.export.rows import frame_at
from posescore.export.shots import USUAL, Shots, Showing, shots_of
from posescore.footage.atomic import replacing
from posescore.footage.drawing import Picture, fitted
from posescore.footage.encoding import write_film
from posescore.library.library import Library
from posescore.library.store.moment_rows import Moment
from posescore.terms import Progress, silent

SIZE_PX: Final = (1280, 720)
"""What does not have this shape stands between black bars."""


def write_set(
    library: Library, name: str, out: Path, *, showing: Showing = USUAL, progress: Progress = silent
) -> Path:
    """Write the moments of a set into one MP4, in the order in which they were kept.

    Raises
    ------
    InputError
        When the set is empty, or faces are to be hidden and cannot be.
    NotFoundError
        When the footage of one of its matches is not there.
    StorageError
        When the file cannot be written; one that was there before is still there.
    """
    moments = library.moments(name)
    if not moments:
        raise InputError(f"no moment is in the set {name!r}.")
    parts = [(_shots(library, each, showing), each) for each in moments]
    length_s = sum(each.end_s - each.start_s for each in moments)
    with replacing(out) as unfinished:
        write_film(unfinished, _pictures(parts, progress), length_s, SIZE_PX)
    return out


def _shots(library: Library, moment: Moment, showing: Showing) -> Shots:
    match, review = library.match(moment.match_id), library.review(moment.match_id)
    return shots_of(library, match, review, showing)


def _pictures(
    parts: list[tuple[Shots, Moment]], progress: Progress
) -> Iterator[tuple[float, Picture]]:
    begins_s = 0.0
    for done, (shots, moment) in enumerate(parts, 1):
        first, last = frame_at(shots.clock, moment.start_s), frame_at(shots.clock, moment.end_s)
        for frame, picture in shots.frames(first, max(first, last - 1)):
            yield begins_s + max(0.0, frame.time_s - moment.start_s), on_screen(picture)
        begins_s += moment.end_s - moment.start_s
        progress("filming", done, len(parts))


def on_screen(picture: Picture) -> Picture:
    """The picture as large as it fits into :data:`SIZE_PX`, in the middle of it."""
    width, height = SIZE_PX
    tall, wide = picture.shape[:2]
    small = fitted(picture, max(2, min(width, int(height * wide / tall))))
    tall, wide = small.shape[:2]
    screen = np.zeros((height, width, 3), np.uint8)
    top, left = (height - tall) // 2, (width - wide) // 2
    screen[top : top + tall, left : left + wide] = small[:height, :width]
    return screen
