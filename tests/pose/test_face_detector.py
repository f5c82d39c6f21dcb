"""Faces are found wherever they are. Pictures with faces are none of ours: scikit-image brings one.

The astronaut of scikit-image's data (NASA, public domain) is read where that library is installed.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from posescore.errors import MissingPartError
from posescore.pose.estimators.face_detector import FaceDetector, _parts


@pytest.mark.parametrize("size", [(640, 360), (360, 640), (1920, 1080), (100, 100)])
def test_parts_cover_the_picture(size: tuple[int, int]) -> None:
    width, height = size
    seen = np.zeros((height, width), int)
    for left, top, right, bottom in _parts(width, height):
        assert 0 <= left < right <= width
        assert 0 <= top < bottom <= height
        seen[top:bottom, left:right] += 1
    assert seen.min() >= 3, "each layer sees every pixel"


def test_a_plain_picture_has_no_face() -> None:
    assert FaceDetector().faces(np.full((240, 320, 3), 90, np.uint8)).shape == (0, 3)


def test_a_face_is_found_wherever_it_is() -> None:
    data = pytest.importorskip("skimage.data", reason="scikit-image brings a picture with a face")
    astronaut = data.astronaut()  # 512 x 512, the face about (225, 115)
    hall = np.full((720, 1280, 3), 110, np.uint8)
    hall[150:278, 1100:1228] = astronaut[::4, ::4]
    faces = FaceDetector().faces(hall)
    away = np.hypot(faces[:, 0] - (1100 + 225 / 4), faces[:, 1] - (150 + 115 / 4))
    assert (away <= faces[:, 2]).any()


def test_nothing_is_written_to_the_terminal_when_the_program_ends() -> None:
    code = (
        "import numpy as np; from posescore.pose.estimators.face_detector import FaceDetector;"
        "kept = FaceDetector(); kept.faces(np.full((90, 160, 3), 90, np.uint8))"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert (ran.stdout, ran.stderr) == ("", "")


def test_missing_weights_are_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(MissingPartError, match=r"none\.tflite"):
        FaceDetector(tmp_path / "none.tflite")
