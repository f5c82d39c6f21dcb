"""Keypoints of a reviewed match as COCO JSON, with the position of every frame beside them."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np

from posescore.export.tables import frame_labels
from posescore.library.library import Library
from posescore.library.match import Match
from posescore.library.review.review import Review
from posescore.library.store.plain import utf8
from posescore.library.tracks import kept_track
from posescore.pose.coco import PosedPicture, coco_content, pictures_of_track


def keypoints_json(library: Library, match: Match, review: Review) -> str:
    """COCO keypoints of every frame, ``track_id`` 1 for A and 2 for B as people left them.

    Every image carries ``position``, ``upper`` ("A", "B" or null) and ``named_by`` (``person``
    where somebody edited the hold, else ``program``). A match that was kept without keypoints has
    images and no annotations.
    """
    content = coco_content(
        [_as_left(picture, review) for picture in _pictures(library, match, review)]
    )
    labels = list(frame_labels(review))
    for image in content["images"]:
        label = labels[image["frame_index"]]
        image["position"] = label.position
        image["upper"] = label.upper or None
        image["named_by"] = label.named_by
    return utf8(json.dumps(content, separators=(",", ":"), ensure_ascii=False)) + "\n"


def _pictures(library: Library, match: Match, review: Review) -> list[PosedPicture]:
    track = kept_track(library.analysis(match.id, review.analysis_version))
    name = None if match.info.footage is None else Path(match.info.footage.path).name
    if track is not None:
        return pictures_of_track(track, name)
    points = np.full((2, 21, 2), np.nan, np.float32)
    unknown = np.full(2, np.nan)
    return [
        PosedPicture(name, i, time_s, None, points, points[..., 0], unknown)
        for i, time_s in enumerate(review.clock.pts_s.tolist())
    ]


def _as_left(picture: PosedPicture, review: Review) -> PosedPicture:
    """With A and B exchanged where a person exchanged them."""
    if picture.time_s is None or not any(s.contains(picture.time_s) for s in review.swaps):
        return picture
    return replace(
        picture,
        keypoints_px=picture.keypoints_px[::-1],
        keypoint_confidence=picture.keypoint_confidence[::-1],
    )
