"""Taking a COCO keypoints file apart, with one sentence for everything that may be wrong in it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.errors import KeypointFileError
from posescore.reading import LONGEST_S, Reader, read_json, shown
from posescore.terms import KEYPOINT_INDEX, KEYPOINTS, N_COCO, N_KEYPOINTS

Athletes = tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float64]]
"""Keypoints ``(2, 21, 2)``, confidence ``(2, 21)`` and area ``(2,)`` of A and B."""

_CONFIDENCE_OF_MARK: Final = {1: 0.8, 2: 1.0}
"""Where a file gives none: marked but hidden (v = 1) counts a little less. Judgement."""
_FARTHEST_PX: Final = 1e6
"""No picture has a side of a million pixels: a coordinate beyond is no place in one."""
MOST_FRAMES: Final = 1e9
MOST_BYTES: Final = 2**30
"""Of a file: some hours of footage, frame by frame. A judgement."""


@dataclass(frozen=True, slots=True)
class ImageEntry:
    """One entry of ``images``."""

    image_id: object
    name: str | None
    frame_index: int | None
    time_s: float | None
    size_px: tuple[int, int] | None


@dataclass(frozen=True, slots=True)
class Document:
    """A checked COCO keypoints file."""

    images: tuple[ImageEntry, ...]
    annotations: Mapping[object, list[Reader]]
    """By image."""
    columns: Mapping[object, list[int | None]]
    """For every category, which of our keypoints each of its keypoints is."""

    @classmethod
    def load(cls, path: Path) -> Document:
        """Read and check a file.

        Raises
        ------
        KeypointFileError
            One sentence naming the file and the place.
        """
        data = read_json(path, KeypointFileError, MOST_BYTES, finite=False)
        top = Reader(str(path), data, error=KeypointFileError)
        if not isinstance(top.value, dict):
            top.fail("is no COCO file: it must be an object with 'images'.")
        entries = tuple(_image(entry) for entry in top.at("images").items())
        annotations: dict[object, list[Reader]] = {entry.image_id: [] for entry in entries}
        if len(annotations) != len(entries):
            top.fail("two images share an id: give each its own.")
        for annotation in top.at("annotations").items():
            image_id = annotation.table().get("image_id")
            if not isinstance(image_id, int | str) or image_id not in annotations:
                annotation.fail(
                    f"belongs to image_id {shown(image_id)}, which is not among the images: add "
                    "the image or remove the annotation."
                )
            annotations[image_id].append(annotation)
        return cls(entries, annotations, _columns(top))

    def athletes_of(self, image: ImageEntry) -> Athletes:
        """A and B of one image."""
        points = np.full((2, N_KEYPOINTS, 2), np.nan, np.float32)
        confidence = np.full((2, N_KEYPOINTS), np.nan, np.float32)
        area = np.full(2, np.nan)
        for slot, annotation in self._slots(image):
            self._read_marks(annotation, points[slot], confidence[slot])
            stated = _finite(annotation.table().get("area"))
            if stated is not None and stated > 0:
                area[slot] = stated
        return points, confidence, area

    def _slots(self, image: ImageEntry) -> list[tuple[int, Reader]]:
        people = [a for a in self.annotations[image.image_id] if not a.table().get("iscrowd")]
        tracks = [a.table().get("track_id") for a in people]
        named = {
            int(track) - 1: a
            for track, a in zip(tracks, people, strict=True)
            if isinstance(track, int | float) and track in (1, 2)
        }
        if named:
            if sum(track in (1, 2) for track in tracks) > len(named):
                people[0].fail(
                    f"and another one of image {image.image_id} have one track_id: 1 is athlete A, "
                    "2 is athlete B."
                )
            return list(named.items())
        if len(people) > 2:
            order = sorted(range(len(people)), key=lambda i: (-_score(people[i]), i))
            people = [people[i] for i in sorted(order[:2])]
        return list(enumerate(people))

    def _read_marks(
        self, annotation: Reader, points: NDArray[np.float32], confidence: NDArray[np.float32]
    ) -> None:
        marks = _marks(annotation)
        category = annotation.table().get("category_id")
        named = self.columns.get(category) if isinstance(category, int | str) else None
        columns = named or _default_columns(len(marks))
        given = _confidences(annotation, marks)
        if columns is None or len(columns) != len(marks):
            annotation.fail(
                f"has {len(marks)} keypoints, its category another number: give [x, y, v] for each "
                "keypoint of the category."
            )
        for column, (x, y, seen), value in zip(columns, marks, given, strict=True):
            if column is not None and seen != 0:
                points[column], confidence[column] = (x, y), min(1.0, max(0.0, value))


def _confidences(annotation: Reader, marks: NDArray[np.float64]) -> NDArray[np.float64]:
    """``(n,)``: how sure each mark is; what stands at a missing keypoint does not matter."""
    given = annotation.table().get("keypoint_confidence")
    if given is None:
        return np.array([_CONFIDENCE_OF_MARK.get(int(seen), 1.0) for seen in marks[:, 2]])
    values = np.full(len(marks), np.nan)
    if isinstance(given, list) and len(given) == len(marks):
        values = np.array([_finite(value) for value in given], dtype=np.float64)
    if not np.isfinite(values[marks[:, 2] != 0]).all():
        annotation.fail(
            "has no list of numbers from 0 to 1 as 'keypoint_confidence', one for each keypoint: "
            "correct it or leave it out."
        )
    return np.asarray(np.nan_to_num(values))


def _marks(annotation: Reader) -> NDArray[np.float64]:
    given = annotation.table().get("keypoints")
    try:
        marks = np.array(given, dtype=np.float64).reshape(-1, 3)
    except (TypeError, ValueError, OverflowError):
        marks = np.full((1, 3), np.nan)
    if not isinstance(given, list) or not (np.abs(marks) <= _FARTHEST_PX).all():
        annotation.fail(
            "has no list of numbers [x, y, v, x, y, v, ...] as 'keypoints': correct it."
        )
    return marks


def _image(entry: Reader) -> ImageEntry:
    table = entry.table()
    image_id, name = table.get("id"), table.get("file_name")
    if not isinstance(image_id, int | str) or isinstance(image_id, bool):
        entry.fail("has no 'id': give it a whole number.")
    width, height = _finite(table.get("width")), _finite(table.get("height"))
    index = (
        entry.at("frame_index").number(-MOST_FRAMES, MOST_FRAMES)
        if entry.has("frame_index")
        else None
    )
    if index is not None and not index.is_integer():
        entry.at("frame_index").fail(f"must be a whole number, not {index:g}.")
    return ImageEntry(
        image_id,
        None if name is None else str(name),
        None if index is None else int(index),
        entry.at("time_s").number(-LONGEST_S) if entry.has("time_s") else None,
        (int(width), int(height)) if width and height else None,
    )


def _finite(value: object) -> float | None:
    """A number of JSON, or None for anything else, infinity and 400 digits too."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    try:
        number = float(value)
    except OverflowError:
        return None
    return number if math.isfinite(number) else None


def _columns(top: Reader) -> dict[object, list[int | None]]:
    columns: dict[object, list[int | None]] = {}
    for category in top.at("categories").items() if top.table().get("categories") else ():
        names, category_id = (category.table().get(key) for key in ("keypoints", "id"))
        if not names or not isinstance(names, list) or not isinstance(category_id, int | str):
            continue  # many exports leave the names out: then the number of marks tells
        places = [KEYPOINT_INDEX.get(_our_name(str(name))) for name in names]
        known = [place for place in places if place is not None]
        if not known or len(set(known)) != len(known):
            category.fail(
                "names no keypoint of ours, or one twice: "
                f"name them {', '.join(KEYPOINTS[:3])}, ..."
            )
        columns[category_id] = places
    return columns


def _our_name(name: str) -> str:
    """Toes go by several names: the tip of the big toe is the one we mean."""
    plain = name.strip().lower().replace(" ", "_").replace("-", "_")
    return plain.replace("big_toe", "toe").replace("foot_index", "toe")


def _default_columns(n_marks: int) -> list[int | None] | None:
    """The order where a file names no keypoints: COCO's 17, or our 21."""
    return list(range(n_marks)) if n_marks in (N_COCO, N_KEYPOINTS) else None


def _score(annotation: Reader) -> float:
    score = _finite(annotation.table().get("score"))
    return 1.0 if score is None else score
