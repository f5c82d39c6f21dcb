"""MediaPipe's pose landmarker behind the pair estimator's protocol.

Pictures only (no video mode): every call stands alone, in the whole picture or in a turned crop,
and who is who is decided by following. Nothing is sent anywhere: the runtime of the versions
allowed in ``pyproject.toml`` holds no network code.
"""

from __future__ import annotations

import hashlib
import threading
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from posescore.footage.system_libraries import named_when_missing
from posescore.pose.estimators.crop import cut_out
from posescore.pose.estimators.detection import Person, likely_pair, pair_estimate, without_doubles
from posescore.pose.estimators.estimator import Box, PairEstimate, Picture
from posescore.pose.estimators.quiet import closing_quietly, quiet_native_stderr
from posescore.resources import bytes_of, shipped
from posescore.terms import KEYPOINTS, Step

with named_when_missing("MediaPipe"):
    import mediapipe
    from mediapipe.tasks.python import BaseOptions, vision

LANDMARK_OF_KEYPOINT: Final[dict[str, int]] = {
    "nose": 0, "left_eye": 2, "right_eye": 5, "left_ear": 7, "right_ear": 8,
    "left_shoulder": 11, "right_shoulder": 12, "left_elbow": 13, "right_elbow": 14,
    "left_wrist": 15, "right_wrist": 16, "left_hip": 23, "right_hip": 24,
    "left_knee": 25, "right_knee": 26, "left_ankle": 27, "right_ankle": 28,
    "left_heel": 29, "right_heel": 30, "left_toe": 31, "right_toe": 32,
}  # fmt: skip
"""Place of each of our keypoints among the landmarker's 33."""

_ORDER: Final = [LANDMARK_OF_KEYPOINT[name] for name in KEYPOINTS]
MAX_PEOPLE: Final = 3
"""Both athletes and the referee; each person found costs one more call of the second network."""
MIN_CONFIDENCE: Final = 0.3
"""Threshold of the detector and of the landmarks' presence: lower than the package's own 0.5, since
people in contact score low and wrong detections are sorted out by following."""


class MediaPipeEstimator:
    """Finds people with MediaPipe's pose landmarker and gives the likely pair.

    Raises
    ------
    MissingPartError
        When the bundle or a system library is missing.
    """

    def __init__(self, bundle: Path | None = None) -> None:
        path = bundle or shipped("models", "pose_landmarker_full.task")
        data = bytes_of(path)
        self.step = Step(
            "mediapipe_pose_landmarker",
            {
                "runtime": mediapipe.__version__,
                "min_confidence": MIN_CONFIDENCE,
                "max_people": MAX_PEOPLE,
                "version": 1,
            },
            {path.name: hashlib.sha256(data).hexdigest()},
        )
        options = vision.PoseLandmarkerOptions(
            base_options=BaseOptions(model_asset_buffer=data),
            num_poses=MAX_PEOPLE,
            min_pose_detection_confidence=MIN_CONFIDENCE,
            min_pose_presence_confidence=MIN_CONFIDENCE,
        )
        self._warm = False
        self._one_at_a_time = threading.Lock()
        with named_when_missing("MediaPipe"), quiet_native_stderr():
            self._landmarker: Any = vision.PoseLandmarker.create_from_options(options)
        self._closing = closing_quietly(self, self._landmarker)

    def close(self) -> None:
        """Release the networks; calling it twice does no harm."""
        self._closing()

    def people(self, picture: Picture, box: Box | None = None) -> list[Person]:
        """Everyone found inside a box, or in the whole picture, most confident first."""
        if box is None:
            found = self._detect(picture)
        else:
            crop = cut_out(picture, box)
            found = [
                Person(
                    crop.to_whole_px(person.keypoints_px.astype(np.float64)).astype(np.float32),
                    person.keypoint_confidence,
                )
                for person in self._detect(crop.picture)
            ]
        return without_doubles(found)

    def estimate(self, picture: Picture, boxes: tuple[Box, ...] = ()) -> PairEstimate:
        """Keypoints of the likely pair: in the whole picture, or in the given boxes together.

        Notes
        -----
        Without boxes, and with fewer than two people found, the picture is looked at again with
        room around it and in three turns: the detector expects people upright and not cut off.
        """
        found = [person for box in boxes or (None,) for person in self.people(picture, box)]
        if not boxes and len(found) < 2:
            found += [
                person for box in _other_looks(picture) for person in self.people(picture, box)
            ]
        people = without_doubles(found)
        return pair_estimate(likely_pair(people) or people)

    def _detect(self, picture: Picture) -> list[Person]:
        image = mediapipe.Image(image_format=mediapipe.ImageFormat.SRGB, data=picture)
        with self._one_at_a_time:
            result = self._asked(image)
        height, width = picture.shape[:2]
        return [_person(landmarks, width, height) for landmarks in result.pose_landmarks]

    def _asked(self, image: Any) -> Any:
        if self._warm:
            return self._landmarker.detect(image)
        with quiet_native_stderr():
            result = self._landmarker.detect(image)
        self._warm = bool(result.pose_landmarks)
        return result


def _other_looks(picture: Picture) -> list[Box]:
    height, width = picture.shape[:2]
    centre, side = (width / 2, height / 2), float(max(width, height))
    turned = [Box(*centre, side, side, turn_deg) for turn_deg in (90.0, -90.0, 180.0)]
    return [Box(*centre, 1.5 * side, 1.5 * side), *turned]


def _person(landmarks: list[Any], width_px: int, height_px: int) -> Person:
    values = [(m.x, m.y, m.visibility, m.presence) for m in (landmarks[i] for i in _ORDER)]
    table = np.array(values, dtype=np.float32)
    points = table[:, :2] * np.array([width_px, height_px], np.float32)
    return Person(points, confidence_of(table[:, 2], table[:, 3]))


def confidence_of(
    visibility: NDArray[np.float32], presence: NDArray[np.float32]
) -> NDArray[np.float32]:
    """``(n,)`` float32 in [0, 1], of the landmarker's two: seen, inside the picture."""
    return np.asarray(np.clip(visibility * presence, 0.0, 1.0), dtype=np.float32)
