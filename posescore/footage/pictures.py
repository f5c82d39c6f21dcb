"""Single pictures: one file, or a folder of them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from posescore.errors import FootageError
from posescore.footage.opencv import cv2
from posescore.footage.opening import PICTURE_SUFFIXES, check_file, check_size


def read_picture(path: Path) -> NDArray[np.uint8]:
    """``(height, width, 3)`` uint8 RGB, turned upright as the camera's EXIF note says.

    Raises
    ------
    FootageError
        When the file is missing, empty, a folder, no picture, or too large.
    """
    check_file(path)
    coded = np.fromfile(path, dtype=np.uint8)
    try:
        decoded = cv2.imdecode(coded, cv2.IMREAD_COLOR)
    except cv2.error:
        decoded = None
    if decoded is None:
        raise FootageError(f"{path} is not a picture that can be read: give a JPEG or PNG file.")
    check_size(str(path), decoded.shape[1], decoded.shape[0])
    return np.asarray(cv2.cvtColor(decoded, cv2.COLOR_BGR2RGB), dtype=np.uint8)


def is_picture(path: Path) -> bool:
    """True for a file whose suffix is that of a picture."""
    return path.suffix.lower() in PICTURE_SUFFIXES and path.is_file()


def pictures_in(folder: Path) -> list[Path]:
    """The pictures of a folder, sorted by name.

    Raises
    ------
    FootageError
        When the folder does not exist or holds no picture.
    """
    try:
        found = sorted(path for path in folder.iterdir() if is_picture(path))
    except FileNotFoundError as error:
        raise FootageError(f"{folder} does not exist: check the path.") from error
    except OSError as error:
        raise FootageError(
            f"{folder} cannot be listed ({error.strerror}): change its permissions."
        ) from error
    if not found:
        raise FootageError(f"{folder} holds no pictures: put JPEG, PNG, WebP or BMP files there.")
    return found
