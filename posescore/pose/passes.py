"""The pose pass over whatever a person names: a video, a picture, a folder of pictures."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from posescore.errors import FootageError
from posescore.footage.atomic import check_writable
from posescore.footage.opening import check_file
from posescore.footage.pictures import is_picture, pictures_in, read_picture
from posescore.footage.reading import Footage
from posescore.pose.coco import PosedPicture, pictures_of_track, write_coco
from posescore.pose.estimators.choice import USUAL, opened_estimator
from posescore.pose.estimators.detection import people_of
from posescore.pose.estimators.estimator import PairEstimator
from posescore.pose.tracking.follow import STAGE, follow
from posescore.terms import Progress, silent


@dataclass(frozen=True, slots=True)
class Found:
    """How much was found: pictures or frames, and athletes in all of them together.

    ``unread`` holds a sentence for every picture of a folder that could not be read.
    """

    pictures: int
    athletes: int
    unread: tuple[str, ...] = ()


def pose_file(
    source: Path,
    out: Path,
    *,
    every_frame: bool = False,
    estimator: PairEstimator | str = USUAL,
    progress: Progress = silent,
) -> Found:
    """Find both athletes and write them as COCO keypoints.

    Parameters
    ----------
    source
        A video, whose athletes are followed; or a picture or a folder, every picture alone.
    out
        COCO keypoints JSON to write; ``file_name`` names the picture, ``frame_index`` and
        ``time_s`` the frame.
    estimator
        What finds keypoints, or its name (:data:`posescore.pose.estimators.choice.NAMES`).

    Raises
    ------
    FootageError
        When the source cannot be used.
    StorageError
        When the result cannot be written; said before the search begins where that can be known.
    """
    check_writable(out)
    alone = source.is_dir() or is_picture(source)
    if not source.is_dir():
        check_file(source)
    unread: list[str] = []
    with opened_estimator(estimator, of_video=not alone) as chosen:
        pictures = _posed(source, chosen, every_frame, progress, unread)
    if not pictures:
        raise FootageError(unread[0])
    write_coco(pictures, out)
    athletes = sum(
        int(np.isfinite(picture.keypoints_px).any(axis=(1, 2)).sum()) for picture in pictures
    )
    return Found(len(pictures), athletes, tuple(unread))


def _posed(
    source: Path,
    estimator: PairEstimator,
    every_frame: bool,
    progress: Progress,
    unread: list[str],
) -> list[PosedPicture]:
    if source.is_dir():
        return list(pose_of_pictures(pictures_in(source), estimator, progress, unread))
    if is_picture(source):
        return list(pose_of_pictures([source], estimator, progress))
    footage = Footage(source)
    every = 1 if every_frame else None
    track = follow(footage, estimator, every=every, progress=progress)
    return pictures_of_track(track, source.name)


def pose_of_pictures(
    paths: list[Path],
    estimator: PairEstimator,
    progress: Progress = silent,
    unread: list[str] | None = None,
) -> Iterator[PosedPicture]:
    """The athletes of pictures that have nothing to do with one another.

    The athlete further left is A: a picture alone has no earlier detection to go by. Where
    ``unread`` is given, a picture that cannot be read is named there and left out.
    """
    for done, path in enumerate(paths, start=1):
        try:
            picture = read_picture(path)
        except FootageError as error:
            if unread is None:
                raise
            unread.append(str(error))
            progress(STAGE, done, len(paths))
            continue
        estimate = estimator.estimate(picture)
        points = np.full((2, 21, 2), np.nan, np.float32)
        confidence = np.full((2, 21), np.nan, np.float32)
        people = sorted(people_of(estimate), key=lambda person: float(person.centre_px[0]))
        for slot, person in enumerate(people):
            points[slot], confidence[slot] = person.keypoints_px, person.keypoint_confidence
        height, width = picture.shape[:2]
        unknown = np.full(2, np.nan)
        yield PosedPicture(path.name, None, None, (width, height), points, confidence, unknown)
        progress(STAGE, done, len(paths))
