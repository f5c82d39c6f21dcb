from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from posescore.errors import FootageError, MissingPartError
from posescore.footage.ahead import ahead
from posescore.footage.opencv import cv2
from posescore.footage.pictures import pictures_in, read_picture
from posescore.footage.system_libraries import named_when_missing

PICTURE = np.zeros((40, 60, 3), np.uint8)
PICTURE[:20, :30] = (250, 40, 30)  # red, top left


@pytest.mark.parametrize("suffix", [".png", ".jpg", ".webp", ".bmp"])
def test_pictures_are_read_as_rgb(tmp_path: Path, suffix: str) -> None:
    path = tmp_path / f"picture{suffix}"
    cv2.imwrite(str(path), PICTURE[..., ::-1])
    found = read_picture(path)
    assert found.shape == PICTURE.shape
    assert abs(found[10, 15].astype(int) - PICTURE[10, 15]).max() < 12


def exif_orientation(value: int) -> bytes:
    """The smallest EXIF block that holds an orientation (tag 0x0112), as JPEG's APP1 segment."""
    tiff = b"MM\x00*\x00\x00\x00\x08\x00\x01\x01\x12\x00\x03\x00\x00\x00\x01"
    body = b"Exif\x00\x00" + tiff + value.to_bytes(2, "big") + b"\x00\x00" + b"\x00" * 4
    return b"\xff\xe1" + (len(body) + 2).to_bytes(2, "big") + body


@pytest.mark.parametrize(("orientation", "turns"), [(1, 0), (3, 2), (6, 3), (8, 1)])
def test_cameras_notes_on_turning_are_honoured(
    tmp_path: Path, orientation: int, turns: int
) -> None:
    jpeg = cv2.imencode(".jpg", PICTURE[..., ::-1])[1].tobytes()
    path = tmp_path / "turned.jpg"
    path.write_bytes(jpeg[:2] + exif_orientation(orientation) + jpeg[2:])
    expected = np.rot90(PICTURE, turns)
    found = read_picture(path)
    assert found.shape == expected.shape
    assert np.abs(found.astype(int) - expected).mean() < 8


def test_a_folder_gives_its_pictures_by_name(tmp_path: Path) -> None:
    for name in ("b.PNG", "a.jpg", "c.txt"):
        (tmp_path / name).write_bytes(b"x")
    (tmp_path / "d.png").mkdir()
    assert [path.name for path in pictures_in(tmp_path)] == ["a.jpg", "b.PNG"]
    with pytest.raises(FootageError, match="holds no pictures"):
        pictures_in(tmp_path / "d.png")
    with pytest.raises(FootageError, match="does not exist"):
        pictures_in(tmp_path / "nowhere")


def test_what_is_no_picture_is_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "broken.jpg").write_bytes(b"\xff\xd8\xff" + b"no" * 50)
    with pytest.raises(FootageError, match=r"broken\.jpg is not a picture"):
        read_picture(tmp_path / "broken.jpg")


def test_a_missing_system_library_names_the_debian_package() -> None:
    said = "libGL.so.1: cannot open shared object file: No such file or directory"
    named = r"libGL\.so\.1.*'apt-get install libgl1'"
    with pytest.raises(MissingPartError, match=named), named_when_missing("OpenCV"):
        raise ImportError(said)
    with pytest.raises(MissingPartError, match="libegl1"), named_when_missing("MediaPipe"):
        raise OSError(said.replace("libGL.so.1", "libEGL.so.1"))
    with pytest.raises(MissingPartError, match="install Pose"), named_when_missing("OpenCV"):
        raise ImportError("No module named 'cv2'")


def test_working_ahead_keeps_order_errors_and_stops() -> None:
    assert list(ahead(iter(range(50)))) == list(range(50))

    def failing() -> object:
        yield 1
        raise FootageError("broken")

    items = ahead(failing())  # type: ignore[arg-type]
    assert next(items) == 1
    with pytest.raises(FootageError, match="broken"):
        next(items)
    made: list[int] = []
    endless = ahead(made.append(i) or i for i in range(10**9))  # type: ignore[func-returns-value]
    assert next(endless) == 0
    endless.close()  # type: ignore[attr-defined]
    assert len(made) < 20
