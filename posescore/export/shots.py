"""Pictures of a match's footage as exports show them: skeletons drawn, faces hidden, as asked."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.errors import InputError, NotFoundError
from posescore.export.faces import faces_of
from posescore.footage.drawing import Disc, Picture, draw_pair, fitted, hide_all, hide_discs, jpeg
from posescore.footage.reading import Footage, Frame
from posescore.holds.check import BodyPart
from posescore.library.library import Library
from posescore.library.match import Match
from posescore.library.review.review import Review
from posescore.library.tracks import kept_track
from posescore.pose.estimators.face_detector import FaceDetector
from posescore.pose.track import PairTrack
from posescore.terms import Athlete

CLOSE_UP_MARGIN: Final = 0.2
"""Of the pair's extent on every side: heads and feet reach beyond the keypoints."""
PART_OF_PAIR: Final = 0.5
"""A part of a body is shown with what it touches: at least so much of the pair's extent."""
STALE_S: Final = 0.1
"""Keypoints this old still are drawn, for tracks that hold every second or third frame."""

FACES_EVERY_S: Final = 0.1
"""How often faces are looked for: in a tenth of a second a head moves by less than the room that
is hidden around it, and looking takes longer than drawing."""


@dataclass(frozen=True, slots=True)
class Showing:
    """What is drawn into exported pictures and clips.

    Parameters
    ----------
    skeletons
        Draw both skeletons.
    hide_faces
        Hide every face that is found; see :mod:`posescore.export.faces` for what that cannot do.
    """

    skeletons: bool = True
    hide_faces: bool = False


USUAL: Final = Showing()
"""Skeletons, and faces as they were filmed."""


class Shots:
    """Pictures of one match.

    Parameters
    ----------
    footage
        The original, or the copy made for browsers: both have the same frames.
    track
        Keypoints; None where the match came without.
    review
        For its clock, and for the stretches in which a person exchanged the athletes.
    """

    def __init__(
        self, footage: Footage, track: PairTrack | None, review: Review, showing: Showing
    ) -> None:
        self.footage, self.clock, self.showing = footage, review.clock, showing
        self._track, self._swaps = track, review.swaps
        if len(footage.clock()) != len(review.clock):
            raise InputError(
                f"{footage.path} has {len(footage.clock())} frames, the analysis "
                f"{len(review.clock)}: put the analysed footage back, or analyse it again."
            )
        if track is None and showing.hide_faces:
            raise InputError(
                "faces can only be hidden by keypoints, and this match has none: analyse it first."
            )
        self._faces = faces_of(track) if track is not None and showing.hide_faces else None
        self._detector = FaceDetector() if showing.hide_faces else None
        self._faces_seen: tuple[float, list[Disc]] = (-np.inf, [])
        width_px = track.picture_size_px[0] if track is not None else footage.size_px[0]
        self._scale = footage.size_px[0] / width_px

    def frames(self, first: int, last: int) -> Iterator[tuple[Frame, Picture]]:
        """Frames of those indices, both included, with the picture to show."""
        for frame in self.footage.frames(first):
            if frame.index > last:
                return
            yield frame, self.picture(frame)

    def jpeg(self, frame_index: int, width_px: int) -> tuple[bytes, tuple[int, int]]:
        """One frame as JPEG, at most so wide, and its size."""
        picture = fitted(self.picture(self.footage.frame(frame_index)), width_px)
        return jpeg(picture), (picture.shape[1], picture.shape[0])

    def close_up(
        self, frame_index: int, width_px: int, part: BodyPart | None = None,
        athlete: Athlete | None = None,
    ) -> bytes:  # fmt: skip
        """The part of a frame around both athletes as JPEG, at most so wide; 16 to 9.

        With ``part`` and ``athlete``, around that part of one body; around both where it was not
        seen.
        """
        frame = self.footage.frame(frame_index)
        left, top, right, bottom = self._around(frame, part, athlete)
        cut = self.picture(frame)[top:bottom, left:right]
        return jpeg(fitted(np.ascontiguousarray(cut), width_px))

    def _around(
        self, frame: Frame, part: BodyPart | None, athlete: Athlete | None
    ) -> tuple[int, int, int, int]:
        """Left, top, right and bottom in pixels; the whole frame where nobody was found."""
        height, width = frame.picture.shape[:2]
        row = self._row(frame.time_s)
        if self._track is None or row is None:
            return 0, 0, width, height
        both = self._track.keypoints_px[row] * np.float32(self._scale)
        points, least = _there(both), width / 4
        if not len(points):
            return 0, 0, width, height
        if part is not None and athlete is not None:
            slot = athlete.other.slot if self._swapped(frame.time_s) else athlete.slot
            own = _there(both[slot][list(part.keypoints)])
            if len(own):
                least = max(PART_OF_PAIR * float(np.ptp(points, axis=0).max()), width / 12)
                points = own
        low, high = points.min(axis=0), points.max(axis=0)
        extent = (high - low) * (1 + 2 * CLOSE_UP_MARGIN)
        wide = min(max(extent[0], extent[1] * 16 / 9, least), width, height * 16 / 9)
        size = np.array([wide, wide * 9 / 16])
        start = np.clip((low + high - size) / 2, 0, np.array([width, height]) - size)
        left, top = (round(float(value)) for value in start)
        return left, top, left + int(size[0]), top + int(size[1])

    def picture(self, frame: Frame) -> Picture:
        """The frame's picture with everything asked for."""
        picture, row = frame.picture, self._row(frame.time_s)
        if self._faces is not None:
            discs = None if row is None else self._faces.discs(row)
            if discs is None:
                return hide_all(picture)
            own = [disc.scaled(self._scale) for disc in discs]
            picture = hide_discs(picture, own + self._others_faces(frame))
        if self.showing.skeletons and self._track is not None and row is not None:
            order = [1, 0] if self._swapped(frame.time_s) else [0, 1]
            points = self._track.keypoints_px[row][order] * np.float32(self._scale)
            picture = draw_pair(picture, points, self._track.keypoint_confidence[row][order])
        return picture

    def _others_faces(self, frame: Frame) -> list[Disc]:
        """Faces of whoever is in view; looked for anew every :data:`FACES_EVERY_S`."""
        seen_s, discs = self._faces_seen
        if self._detector is not None and not 0 <= frame.time_s - seen_s < FACES_EVERY_S:
            discs = [Disc(*face) for face in self._detector.faces(frame.picture).tolist()]
            self._faces_seen = (frame.time_s, discs)
        return discs

    def _row(self, time_s: float) -> int | None:
        """The track's row of an instant, or the one just before where that frame has none."""
        if self._track is None:
            return None
        row = int(np.searchsorted(self._track.time_s, time_s + 1e-6, side="right")) - 1
        return row if row >= 0 and time_s - self._track.time_s[row] <= STALE_S else None

    def _swapped(self, time_s: float) -> bool:
        return any(stretch.contains(time_s) for stretch in self._swaps)


def _there(points: NDArray[np.float32]) -> NDArray[np.float32]:
    """``(n, 2)``: those that are not missing."""
    flat = points.reshape(-1, 2)
    return flat[np.isfinite(flat).all(axis=1)]


def shots_of(
    library: Library, match: Match, review: Review, showing: Showing, quick: bool = False
) -> Shots:
    """Pictures of a match of the library.

    ``quick`` takes the copy made for browsers where there is one: any frame of it is found at
    once, while an AVI, say, has to be decoded from its start for each.

    Raises
    ------
    NotFoundError
        When neither the footage nor its copy for browsers is there.
    InputError
        When the footage is not the one that was analysed, or faces cannot be hidden.
    """
    footage = Footage(_path_of(match, quick))
    analysis = library.analysis(match.id, review.analysis_version)
    return Shots(footage, kept_track(analysis), review, showing)


def _path_of(match: Match, quick: bool) -> Path:
    """The original where it is still the same file, else the copy made for browsers."""
    known = match.info.footage
    if quick and match.proxy_path.is_file():
        return match.proxy_path
    if known is not None:
        original = Path(known.path)
        if original.is_file() and original.stat().st_size == known.size_bytes:
            return original
    if match.proxy_path.is_file():
        return match.proxy_path
    if known is None:
        raise NotFoundError(f"match {match.id} was added without footage: there is no picture.")
    raise NotFoundError(
        f"{known.path}: the analysed footage is not there any more: put it back, then try again."
    )
