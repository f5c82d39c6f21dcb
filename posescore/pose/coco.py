"""COCO keypoints JSON: the open standard in which poses come in and go out.

Ours to write: 17 keypoints, one annotation per athlete, ``track_id`` 1 for A and 2 for B, 1-based
ids, ``[x, y, v]`` with v = 2, and 0, 0, 0 for a missing keypoint. Ours to read: 17 or 21 keypoints,
or any category whose keypoint list holds names of ours.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

import posescore
from posescore.errors import KeypointFileError
from posescore.footage.atomic import replacing
from posescore.footage.clock import FrameClock
from posescore.pose.coco_reading import Document
from posescore.pose.oks import area_px2, keypoint_box_px
from posescore.pose.track import PairTrack
from posescore.terms import BONES, KEYPOINTS, N_COCO, Provenance, Step

CATEGORY: Final[dict[str, Any]] = {
    "id": 1,
    "name": "person",
    "supercategory": "person",
    "keypoints": list(KEYPOINTS[:N_COCO]),
    "skeleton": [[a + 1, b + 1] for a, b in BONES if a < N_COCO and b < N_COCO],
}


@dataclass(frozen=True, slots=True, eq=False)
class PosedPicture:
    """The athletes' keypoints in one picture or frame.

    Parameters
    ----------
    name
        ``file_name`` of the image, or None.
    frame_index, time_s
        Place in a video, or None for a picture that stands alone.
    size_px
        ``(width, height)``, or None where the file does not say.
    keypoints_px
        ``(2, 21, 2)`` float32, NaN where missing; slot 0 is A.
    keypoint_confidence
        ``(2, 21)`` float32 in [0, 1], NaN where missing.
    area_px2
        ``(2,)`` float64: area of each body, NaN where the file does not say.
    """

    name: str | None
    frame_index: int | None
    time_s: float | None
    size_px: tuple[int, int] | None
    keypoints_px: NDArray[np.float32]
    keypoint_confidence: NDArray[np.float32]
    area_px2: NDArray[np.float64]


def read_coco(path: Path) -> list[PosedPicture]:
    """Read the athletes of every image, in the order of the file's images.

    An annotation's ``track_id`` 1 is A and 2 is B. Without ``track_id`` the first annotation of an
    image is A, the second B. An image may hold nobody or one athlete; of more than two people,
    those with the best ``score`` are taken (the first ones where no score is given). A keypoint
    with v = 0 is missing. The confidence of a keypoint is the fourth number where a file has
    ``keypoint_confidence``, else 1 for v = 2 and 0.8 for v = 1 (marked, but hidden).

    Raises
    ------
    KeypointFileError
        When the file is missing, no JSON, or not COCO keypoints; the sentence names the place.
    """
    document = Document.load(path)
    return [
        PosedPicture(
            image.name,
            image.frame_index,
            image.time_s,
            image.size_px,
            *document.athletes_of(image),
        )
        for image in document.images
    ]


def track_from_coco(path: Path, clock: FrameClock | None = None) -> PairTrack:
    """A track from a COCO file whose images are the frames of one video.

    Parameters
    ----------
    path
        Every image needs ``time_s``, or ``frame_index`` together with a clock.
    clock
        The footage's. With it the track has one row for every frame of the footage, NaN for frames
        that the file leaves out.

    Raises
    ------
    KeypointFileError
        When times are missing, do not rise, or lie outside the footage.
    """
    pictures = read_coco(path)
    if not pictures:
        raise KeypointFileError(f"{path} holds no images: give keypoints of at least one frame.")
    times = _times(path, pictures, clock)
    size = pictures[0].size_px or (0, 0)
    provenance = Provenance(posescore.__version__, (Step("keypoints_file", {"name": path.name}),))
    points = np.stack([p.keypoints_px for p in pictures])
    confidence = np.stack([p.keypoint_confidence for p in pictures])
    if clock is None:
        index = np.array(
            [i if p.frame_index is None else p.frame_index for i, p in enumerate(pictures)]
        )
        step_s = float(np.median(np.diff(times))) if len(times) > 1 else 0.04
        end_s = float(times[-1]) + step_s
        return PairTrack(points, confidence, index, times, end_s, size, provenance)
    rows = np.array([clock.frame_index(float(t)) for t in times])
    all_points = np.full((len(clock), *points.shape[1:]), np.nan, np.float32)
    all_confidence = np.full((len(clock), *confidence.shape[1:]), np.nan, np.float32)
    all_points[rows], all_confidence[rows] = points, confidence
    index = np.arange(len(clock), dtype=np.int64)
    return PairTrack(all_points, all_confidence, index, clock.pts_s, clock.end_s, size, provenance)


def _times(
    path: Path, pictures: Sequence[PosedPicture], clock: FrameClock | None
) -> NDArray[np.float64]:
    times = []
    for picture in pictures:
        if picture.frame_index is not None and clock is not None:
            if not 0 <= picture.frame_index < len(clock):
                raise KeypointFileError(
                    f"{path}: frame {picture.frame_index} lies outside the footage, which has "
                    f"{len(clock)} frames: give the keypoints of this footage."
                )
            times.append(clock.time_s(picture.frame_index))
        elif picture.time_s is not None:
            # Written times are rounded; half a millisecond late never names the frame before.
            times.append(picture.time_s if clock is None else picture.time_s + 0.0005)
        else:
            raise KeypointFileError(
                f"{path}: an image has no time: give every image 'time_s', or 'frame_index'."
            )
    found = np.array(times, dtype=np.float64)
    if (np.diff(found) <= 0).any():
        raise KeypointFileError(
            f"{path}: times do not rise from image to image: sort the images and name each once."
        )
    return found


def pictures_of_track(track: PairTrack, name: str | None = None) -> list[PosedPicture]:
    """Every frame of a track as a posed picture."""
    unknown = np.full(2, np.nan)
    return [
        PosedPicture(
            name,
            int(track.frame_index[i]),
            float(track.time_s[i]),
            track.picture_size_px,
            track.keypoints_px[i],
            track.keypoint_confidence[i],
            unknown,
        )
        for i in range(len(track))
    ]


def write_coco(pictures: PairTrack | Iterable[PosedPicture], path: Path) -> None:
    """Write COCO keypoints JSON with 17 keypoints, wholly or not at all.

    Raises
    ------
    StorageError
        When the file cannot be written.
    """
    content = coco_content(pictures)
    with replacing(path) as unfinished:
        unfinished.write_text(json.dumps(content, separators=(",", ":")), encoding="utf-8")


def coco_content(pictures: PairTrack | Iterable[PosedPicture]) -> dict[str, Any]:
    """COCO keypoints as plain data, one image for each picture, in their order.

    An athlete without any keypoint gets no annotation.
    """
    if isinstance(pictures, PairTrack):
        pictures = pictures_of_track(pictures)
    images: list[dict[str, Any]] = []
    annotations: list[dict[str, Any]] = []
    for image_id, picture in enumerate(pictures, start=1):
        images.append(_image_json(image_id, picture))
        for slot in (0, 1):
            annotation = _annotation_json(picture, slot)
            if annotation is not None:
                ids = {"id": len(annotations) + 1, "image_id": image_id}
                annotations.append(ids | annotation)
    return {
        "info": {"description": "PoseScore keypoints", "version": posescore.__version__},
        "licenses": [],
        "images": images,
        "annotations": annotations,
        "categories": [CATEGORY],
    }


def _image_json(image_id: int, picture: PosedPicture) -> dict[str, Any]:
    width, height = picture.size_px or (0, 0)
    values = {
        "file_name": picture.name,
        "frame_index": picture.frame_index,
        "time_s": None if picture.time_s is None else round(picture.time_s, 6),
    }
    image: dict[str, Any] = {"id": image_id, "width": width, "height": height}
    return image | {key: value for key, value in values.items() if value is not None}


def _annotation_json(picture: PosedPicture, slot: int) -> dict[str, Any] | None:
    points = picture.keypoints_px[slot, :N_COCO].astype(np.float64)
    known: NDArray[np.bool_] = np.asarray(np.isfinite(points).all(axis=-1))
    if not known.any():
        return None
    confidence = np.nan_to_num(picture.keypoint_confidence[slot, :N_COCO])
    marks = np.column_stack([np.where(known[:, None], points, 0.0).round(2), known * 2])
    box = keypoint_box_px(points)
    area = float(picture.area_px2[slot])
    return {
        "category_id": 1,
        "track_id": slot + 1,
        "keypoints": [int(v) if v == int(v) else float(v) for v in marks.ravel()],
        "keypoint_confidence": [round(float(c), 4) for c in confidence],
        "num_keypoints": int(known.sum()),
        "score": round(float(confidence[known].mean()), 4),
        "bbox": [round(side, 2) for side in box],
        "area": round(area if np.isfinite(area) else area_px2(points), 2),
        "iscrowd": 0,
    }
