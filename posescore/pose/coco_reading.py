"""Taking a COCO keypoints file apart, with one sentence for everything that may be wrong in it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from posescore.errors import KeypointFileError
from posescore.reading import read_json
from posescore.terms import KEYPOINT_INDEX, KEYPOINTS, N_COCO, N_KEYPOINTS

Athletes = tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float64]]
"""Keypoints ``(2, 21, 2)``, confidence ``(2, 21)`` and area ``(2,)`` of A and B."""

_CONFIDENCE_OF_MARK: Final = {1: 0.8, 2: 1.0}
"""Where a file gives none: marked but hidden (v = 1) counts a little less. Judgement."""
MOST_BYTES: Final = 2**30
"""Of a file: some hours of footage, frame by frame. A judgement."""
_FARTHEST_PX: Final = 1e6
"""No picture has a side of a million pixels: a coordinate beyond is no place in one."""


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

    path: Path
    images: tuple[ImageEntry, ...]
    annotations: Mapping[object, list[dict[str, Any]]]
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
        data = _json_object(path)
        entries = [_image(path, i, entry) for i, entry in enumerate(_list(path, data, "images"))]
        ids = [entry.image_id for entry in entries]
        if len(set(ids)) != len(ids):
            raise KeypointFileError(f"{path}: two images share an id: give each its own.")
        annotations: dict[object, list[dict[str, Any]]] = {image_id: [] for image_id in ids}
        for i, annotation in enumerate(_list(path, data, "annotations")):
            image_id = annotation.get("image_id")
            if not isinstance(image_id, int | str) or image_id not in annotations:
                raise KeypointFileError(
                    f"{path}: annotations[{i}] belongs to image_id {image_id!r}, which is not "
                    "among the images: add the image or remove the annotation."
                )
            annotations[image_id].append(annotation)
        return cls(path, tuple(entries), annotations, _columns(path, data))

    def athletes_of(self, image: ImageEntry) -> Athletes:
        """A and B of one image."""
        points = np.full((2, N_KEYPOINTS, 2), np.nan, np.float32)
        confidence = np.full((2, N_KEYPOINTS), np.nan, np.float32)
        area = np.full(2, np.nan)
        for slot, annotation in self._slots(image):
            self._read_marks(annotation, points[slot], confidence[slot])
            stated = _finite(annotation.get("area"))
            if stated is not None and stated > 0:
                area[slot] = stated
        return points, confidence, area

    def _slots(self, image: ImageEntry) -> list[tuple[int, dict[str, Any]]]:
        people = [a for a in self.annotations[image.image_id] if not a.get("iscrowd")]
        named = [(int(a["track_id"]) - 1, a) for a in people if a.get("track_id") in (1, 2)]
        if named:
            if len({slot for slot, _ in named}) < len(named):
                raise KeypointFileError(
                    f"{self.path}: image {image.image_id} has a track_id twice: 1 is athlete A, "
                    "2 is athlete B."
                )
            return named
        if len(people) > 2:
            order = sorted(range(len(people)), key=lambda i: (-_score(people[i]), i))
            people = [people[i] for i in sorted(order[:2])]
        return list(enumerate(people))

    def _read_marks(
        self,
        annotation: dict[str, Any],
        points: NDArray[np.float32],
        confidence: NDArray[np.float32],
    ) -> None:
        marks = self._marks(annotation)
        category = annotation.get("category_id")
        named = self.columns.get(category) if isinstance(category, int | str) else None
        columns = named or _default_columns(len(marks))
        given = self._confidences(annotation, marks)
        if columns is None or len(columns) != len(marks):
            raise KeypointFileError(
                f"{self.path}: annotation {annotation.get('id')} has {len(marks)} keypoints, its "
                "category another number: give [x, y, v] for each keypoint of the category."
            )
        for column, (x, y, seen), value in zip(columns, marks, given, strict=True):
            if column is not None and seen != 0:
                points[column], confidence[column] = (x, y), min(1.0, max(0.0, value))

    def _confidences(
        self, annotation: dict[str, Any], marks: NDArray[np.float64]
    ) -> NDArray[np.float64]:
        """``(n,)``: how sure each mark is; what stands at a missing keypoint does not matter."""
        given = annotation.get("keypoint_confidence")
        if given is None:
            return np.array([_CONFIDENCE_OF_MARK.get(int(seen), 1.0) for seen in marks[:, 2]])
        if isinstance(given, list) and len(given) == len(marks):
            values = np.array([_finite(value) for value in given], dtype=np.float64)
            if np.isfinite(values[marks[:, 2] != 0]).all():
                return np.nan_to_num(values)
        raise KeypointFileError(
            f"{self.path}: annotation {annotation.get('id')} has no list of numbers from 0 to 1 as "
            "'keypoint_confidence', one for each keypoint: correct it or leave it out."
        )

    def _marks(self, annotation: dict[str, Any]) -> NDArray[np.float64]:
        given = annotation.get("keypoints")
        try:
            marks = np.array(given, dtype=np.float64).reshape(-1, 3)
        except (TypeError, ValueError, OverflowError):
            marks = np.full((1, 3), np.nan)
        if not isinstance(given, list) or not (np.abs(marks) <= _FARTHEST_PX).all():
            raise KeypointFileError(
                f"{self.path}: annotation {annotation.get('id')} has no list of numbers "
                "[x, y, v, x, y, v, ...] as 'keypoints': correct it."
            )
        return marks


def _json_object(path: Path) -> dict[str, Any]:
    data = read_json(path, KeypointFileError, MOST_BYTES, finite=False)
    if not isinstance(data, dict):
        raise KeypointFileError(f"{path} is no COCO file: it must be an object with 'images'.")
    return data


def _list(path: Path, data: dict[str, Any], field: str) -> list[dict[str, Any]]:
    found = data.get(field)
    if not isinstance(found, list) or not all(isinstance(item, dict) for item in found):
        raise KeypointFileError(f"{path}: '{field}' must be a list of objects, as in COCO files.")
    return found


def _image(path: Path, place: int, entry: dict[str, Any]) -> ImageEntry:
    image_id = entry.get("id")
    if not isinstance(image_id, int | str) or isinstance(image_id, bool):
        raise KeypointFileError(f"{path}: images[{place}] has no 'id': give it a whole number.")
    name, index, time_s = entry.get("file_name"), entry.get("frame_index"), entry.get("time_s")
    width, height = _finite(entry.get("width")), _finite(entry.get("height"))
    return ImageEntry(
        image_id,
        None if name is None else str(name),
        _number(path, place, "frame_index", index, whole=True),
        _number(path, place, "time_s", time_s),
        (int(width), int(height)) if width and height else None,
    )


def _number(path: Path, place: int, field: str, value: object, whole: bool = False) -> Any:
    if value is None:
        return None
    number = _finite(value)
    if number is None or (whole and int(number) != number):
        raise KeypointFileError(
            f"{path}: images[{place}] has {str(value)[:40]!r} as '{field}': give a number."
        )
    return int(number) if whole else number


def _finite(value: object) -> float | None:
    """A number of JSON, or None for anything else, infinity and 400 digits too."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    try:
        number = float(value)
    except OverflowError:
        return None
    return number if math.isfinite(number) else None


def _columns(path: Path, data: dict[str, Any]) -> dict[object, list[int | None]]:
    columns: dict[object, list[int | None]] = {}
    for category in _list(path, {"categories": data.get("categories") or []}, "categories"):
        names = category.get("keypoints")
        if not names or not isinstance(names, list):
            continue  # many exports leave the names out: then the number of marks tells
        if not isinstance(category.get("id"), int | str):
            continue
        places = [KEYPOINT_INDEX.get(_our_name(str(name))) for name in names]
        known = [place for place in places if place is not None]
        if not known or len(set(known)) != len(known):
            raise KeypointFileError(
                f"{path}: category {category.get('id')} names no keypoint of ours, or one twice: "
                f"name them {', '.join(KEYPOINTS[:3])}, ..."
            )
        columns[category.get("id")] = places
    return columns


def _our_name(name: str) -> str:
    """Toes go by several names: the tip of the big toe is the one we mean."""
    plain = name.strip().lower().replace(" ", "_").replace("-", "_")
    return plain.replace("big_toe", "toe").replace("foot_index", "toe")


def _default_columns(n_marks: int) -> list[int | None] | None:
    """The order where a file names no keypoints: COCO's 17, or our 21."""
    return list(range(n_marks)) if n_marks in (N_COCO, N_KEYPOINTS) else None


def _score(annotation: dict[str, Any]) -> float:
    score = _finite(annotation.get("score"))
    return 1.0 if score is None else score
