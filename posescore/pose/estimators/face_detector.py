"""Every face in a picture, whoever's it is: for hiding, never for recognising.

MediaPipe's published face detector looks at the whole picture and at overlapping parts of it, so
that the small faces of an audience are seen too. It finds where a face is and nothing else; nothing
is kept and nothing is sent.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from posescore.footage.system_libraries import named_when_missing
from posescore.pose.estimators.estimator import Picture
from posescore.pose.estimators.quiet import closing_quietly, quiet_native_stderr
from posescore.resources import bytes_of, shipped

with named_when_missing("MediaPipe"):
    import mediapipe
    from mediapipe.tasks.python import BaseOptions, vision

MIN_CONFIDENCE: Final = 0.4
"""A place hidden for nothing costs little, a face shown may cost much: lower than the package's own
0.5. On 39 photographs of wrestling pairs .3, .4 and .5 cover .77, .66 and .51 of the athletes'
heads (seen, hidden or upside down) with 21, 12 and 7 places a picture."""
PARTS: Final = (1, 2, 3)
"""Parts that the longer side is cut into, one layer after the other: the network sees 192 pixels,
and a face under about 8 of them is lost."""
ROOM: Final = 1.6
"""Radius of what is hidden, over half of the larger side of the box: hair, ears and chin as well.
Judgement: the boxes end at brows and mouth."""


class FaceDetector:
    """Finds faces.

    Raises
    ------
    MissingPartError
        When the weights or a system library are missing.
    """

    def __init__(self, network: Path | None = None) -> None:
        path = network or shipped("models", "face_detector.tflite")
        data = bytes_of(path)
        options = vision.FaceDetectorOptions(
            base_options=BaseOptions(model_asset_buffer=data),
            min_detection_confidence=MIN_CONFIDENCE,
        )
        with named_when_missing("MediaPipe"), quiet_native_stderr():
            self._detector: Any = vision.FaceDetector.create_from_options(options)
        self._closing = closing_quietly(self, self._detector)

    def faces(self, picture: Picture) -> NDArray[np.float64]:
        """``(n, 3)`` float64: x and y of the middle and the radius of each face, pixels.

        The same face may come more than once, from the whole picture and from parts of it.
        """
        found = [
            face + np.array([left, top, 0.0])
            for left, top, right, bottom in _parts(picture.shape[1], picture.shape[0])
            for face in self._detect(np.ascontiguousarray(picture[top:bottom, left:right]))
        ]
        return np.array(found, dtype=np.float64).reshape(-1, 3)

    def _detect(self, picture: Picture) -> list[NDArray[np.float64]]:
        image = mediapipe.Image(image_format=mediapipe.ImageFormat.SRGB, data=picture)
        boxes = [each.bounding_box for each in self._detector.detect(image).detections]
        return [
            np.array(
                [
                    box.origin_x + box.width / 2,
                    box.origin_y + box.height / 2,
                    ROOM * max(box.width, box.height) / 2,
                ]
            )
            for box in boxes
        ]

    def close(self) -> None:
        """Release the network; calling it twice does no harm."""
        self._closing()


def _parts(width: int, height: int) -> list[tuple[int, int, int, int]]:
    """Left, top, right and bottom of the squares that are looked at, half over one another."""
    parts = [(0, 0, width, height)]
    for count in PARTS[1:]:
        side = -(-max(width, height) // count)
        lefts, tops = (_starts(length, side) for length in (width, height))
        parts += [(x, y, min(x + side, width), min(y + side, height)) for y in tops for x in lefts]
    return parts


def _starts(length: int, side: int) -> list[int]:
    """Where parts begin so that they cover a length and lie half over one another."""
    if side >= length:
        return [0]
    count = -(-2 * (length - side) // side) + 1
    return [round(start) for start in np.linspace(0, length - side, count).tolist()]
