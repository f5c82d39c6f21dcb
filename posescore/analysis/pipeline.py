"""One match through all stages: footage, keypoints, positions, holds, events.

A run can be resumed: keypoints are kept by the footage's hash and the estimator's settings, so a
second run over the same footage starts behind the pose pass, or in its middle where the first was
killed there.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from posescore import __version__
from posescore.errors import FootageError, InputError
from posescore.footage.reading import Footage
from posescore.holds.event import MatchEvent
from posescore.holds.find import find_holds
from posescore.holds.hold import Hold
from posescore.pose.coco import PosedPicture, pictures_of_track, read_coco, track_from_coco
from posescore.pose.estimators.choice import USUAL, opened_estimator
from posescore.pose.estimators.estimate_cache import cached_estimates
from posescore.pose.estimators.estimator import PairEstimator
from posescore.pose.track import PairTrack
from posescore.pose.track_cache import cache_key, cached_track
from posescore.pose.track_file import read_track
from posescore.pose.tracking.follow import FOLLOWING_VERSION, follow, usual_step
from posescore.position.probabilities import PositionProbabilities
from posescore.terms import Progress, Provenance, silent


@dataclass(frozen=True, slots=True)
class Settings:
    """What an analysis depends on beside the footage.

    Parameters
    ----------
    track_file
        Keypoints to use instead of the pose pass: a PairTrack (Parquet) or COCO keypoints (JSON).
    every_frame
        Estimate poses on every frame instead of the default sampling.
    athlete_a_gi
        Colour of A's gi; decides which slot is whose.
    estimator
        Name of what finds keypoints, of :data:`posescore.pose.estimators.choice.NAMES`.
    afresh
        Read the footage again, even where its keypoints are kept whole.
    """

    track_file: Path | None = None
    every_frame: bool = False
    athlete_a_gi: str | None = None
    estimator: str = USUAL
    afresh: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Analysis:
    """What the program makes of footage: the track, and what the stages behind make of it."""

    track: PairTrack
    probabilities: PositionProbabilities
    holds: tuple[Hold, ...]
    events: tuple[MatchEvent, ...]


DEFAULTS = Settings()
LONGER_S = 1.0
"""Copies of a film differ by less; a track of another film seldom does."""


def analyse(
    footage: Footage,
    settings: Settings = DEFAULTS,
    poses: Path | None = None,
    progress: Progress = silent,
) -> Analysis:
    """Take footage through all stages. Its frames are read once, from first to last, or not at all.

    Parameters
    ----------
    poses
        Folder in which keypoints are kept, so that another run goes on from them.

    Raises
    ------
    InputError, FootageError, StorageError
        One sentence; nothing half-written stays behind.
    """
    if len(footage.clock()) < 2:
        raise FootageError(f"{footage.path} holds a single frame: give the video of a match.")
    track = track_of(footage, settings, poses, progress)
    if not np.isfinite(track.keypoints_px).any():
        raise FootageError(
            f"{footage.path}: nobody was found in it; give footage that shows both athletes."
        )
    return read_positions(track, progress)


def track_of(
    footage: Footage, settings: Settings, poses: Path | None, progress: Progress
) -> PairTrack:
    """Keypoints of both athletes: from the given file, else kept ones, else the pose pass."""
    if settings.track_file is not None:
        return _given_track(footage, settings.track_file)
    with opened_estimator(settings.estimator, of_video=True) as estimator:
        return pose_pass(footage, estimator, settings, poses, progress)


def pose_pass(
    footage: Footage,
    estimator: PairEstimator,
    settings: Settings = DEFAULTS,
    poses: Path | None = None,
    progress: Progress = silent,
) -> PairTrack:
    """Follow both athletes with an estimator, or take the kept result of the same question."""
    every = 1 if settings.every_frame else usual_step(footage.clock())
    gi = settings.athlete_a_gi
    asked = {"every": every, "athlete_a_gi": gi, "version": FOLLOWING_VERSION}
    key = cache_key(footage.sha256, estimator.step, asked)
    begun = None if poses is None else poses / f"{key}.begun"

    def make() -> PairTrack:
        with cached_estimates(estimator, begun) as answers:
            return follow(footage, answers, every=every, athlete_a_gi=gi, progress=progress)

    track = cached_track(poses, key, make, afresh=settings.afresh)[0]
    if begun is not None:
        begun.unlink(missing_ok=True)
    return track


def _given_track(footage: Footage, path: Path) -> PairTrack:
    if path.suffix.lower() == ".parquet":
        track = read_track(path)
    else:
        track = track_from_coco(path, clock=footage.clock())
    _check_same_film(path, track, footage)
    frames = len(footage.clock())
    if len(track) and track.frame_index.max() >= frames:
        raise InputError(
            f"{path}: names frame {track.frame_index.max()}, but {footage.path} has {frames}; "
            "give the keypoints that belong to this video."
        )
    return track


def _check_same_film(path: Path, track: PairTrack, footage: Footage) -> None:
    """Refuse keypoints that say themselves that they are another film's."""
    size, known = track.picture_size_px, footage.size_px
    if min(size) > 0 and size != known:
        of = f"pictures of {size[0]} x {size[1]} pixels, {footage.path} has {known[0]} x {known[1]}"
    elif abs(track.end_s - footage.clock().end_s) > LONGER_S and len(track):
        of = f"{track.end_s:.1f} s of footage, {footage.path} has {footage.clock().end_s:.1f} s"
    else:
        return
    raise InputError(f"{path}: holds keypoints of {of}; give the keypoints of this video.")


def read_positions(track: PairTrack, progress: Progress = silent) -> Analysis:
    """Everything behind the pose pass: positions, holds with checks, inferred events."""
    from posescore.holds.film.model import TimeModel

    progress("naming positions", 0, 2)
    film = TimeModel.load().read(track)
    progress("naming positions", 1, 2)
    holds, events = find_holds(film)
    progress("naming positions", 2, 2)
    return Analysis(track, film.of_frames(track), holds, events)


def classify_file(path: Path, smooth: bool = False) -> Iterator[dict[str, Any]]:
    """The position in every picture of a keypoint file, in the file's order.

    Parameters
    ----------
    path
        COCO keypoints (JSON) with up to two people a picture, or a track (Parquet).
    smooth
        Judge the pictures as one film: each gets the position of the hold it lies in. Pictures
        without a time are taken as frames of a film at 30 a second.
    """
    from posescore.position.classify import classify_pictures

    pictures = _pictures_of(path)
    points = np.stack([picture.keypoints_px for picture in pictures])
    confidence = np.stack([picture.keypoint_confidence for picture in pictures])
    names = [_name_of(picture, i) for i, picture in enumerate(pictures)]
    times = [picture.time_s for picture in pictures]
    answers = classify_pictures(points, confidence, names, times)
    if not smooth:
        yield from answers
        return
    time_s = np.array([i / 30 if t is None else t for i, t in enumerate(times)])
    order = np.argsort(time_s, kind="stable")
    if (np.diff(time_s[order]) <= 0).any():
        raise InputError(
            f"{path}: two pictures share a time; --smooth needs the frames of one film."
        )
    end_s = float(time_s[order[-1]]) + 1 / 30
    track = PairTrack(
        points[order], confidence[order], order.astype(np.int64), time_s[order], end_s,
        pictures[0].size_px or (0, 0), Provenance(__version__),
    )  # fmt: skip
    holds = read_positions(track).holds
    for answer, at_s in zip(answers, time_s, strict=True):
        hold = next(hold for hold in reversed(holds) if hold.start_s <= at_s)
        upper = None if hold.upper is None else str(hold.upper)
        yield {**answer, "position": str(hold.position), "upper": upper}


def _pictures_of(path: Path) -> list[PosedPicture]:
    if path.suffix.lower() == ".parquet":
        pictures = pictures_of_track(read_track(path))
    else:
        pictures = read_coco(path)
    if not pictures:
        raise InputError(f"{path}: holds no pictures; give keypoints of at least one.")
    return pictures


def _name_of(picture: PosedPicture, place: int) -> str | int:
    if picture.name is not None and picture.frame_index is None:
        return picture.name
    return place if picture.frame_index is None else picture.frame_index
