"""Opening a video file, with one sentence for everything that can be wrong with it."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from posescore.errors import FootageError
from posescore.footage.system_libraries import named_when_missing

with named_when_missing("PyAV"):
    import av
    import av.container
    import av.video

PICTURE_SUFFIXES: Final = frozenset({".jpg", ".jpeg", ".png", ".webp", ".bmp"})
LARGEST_PX: Final = 16_384
"""Longest side that is read. A judgement: four times what a phone films, and half of what the
libraries that scale pictures can count to; beyond it they end the whole program."""
_NO_VIDEO_FORMATS: Final = frozenset({"image2", "tty"})
_DECODER_THREADS: Final = min(4, os.cpu_count() or 1)

av.logging.set_level(None)
"""FFmpeg's complaints about damaged files would run through the progress bar; what matters of them
is said in a sentence. With a level set, decoder threads wait for Python's lock to log, and closing
a file while they do never ends."""


def check_file(path: Path) -> None:
    """Refuse what is no readable, non-empty file.

    Raises
    ------
    FootageError
        One sentence naming the file and what to do.
    """
    try:
        if path.is_dir():
            raise FootageError(f"{path} is a folder: name a video file in it.")
        if not path.exists():
            raise FootageError(f"{path} does not exist: check the path.")
        if not path.is_file():
            raise FootageError(f"{path} is no file but a pipe or device: save it as a file first.")
        if not path.stat().st_size:
            raise FootageError(f"{path} is empty: copy it again from the camera.")
        with path.open("rb"):
            pass
    except PermissionError as error:
        raise FootageError(f"{path} may not be read: change its permissions.") from error
    except OSError as error:
        raise FootageError(f"{path} cannot be read ({error.strerror}): copy it again.") from error


def check_size(name: str, width_px: int, height_px: int) -> None:
    """Refuse a picture that is too large to be scaled.

    Raises
    ------
    FootageError
        One sentence.
    """
    if max(width_px, height_px) > LARGEST_PX:
        raise FootageError(
            f"{name} is {width_px} x {height_px} pixels large; sides of up to {LARGEST_PX} can be "
            "read: scale it down first."
        )


@contextmanager
def opened(path: Path) -> Iterator[tuple[av.container.InputContainer, av.video.VideoStream]]:
    """Open a video file and give its container and main video stream.

    Raises
    ------
    FootageError
        When the file is missing, empty, a folder, no video, or too damaged to be opened.
    """
    check_file(path)
    try:
        container = _container(path)
    except av.error.FFmpegError as error:
        raise FootageError(_why_not_opened(path)) from error
    with container:
        yield container, _video_stream(path, container)


def _container(path: Path) -> av.container.InputContainer:
    try:
        return av.open(str(path))
    except UnicodeDecodeError:  # PyAV before 19 stops at titles that are not in UTF-8
        return av.open(str(path), metadata_errors="replace")  # type: ignore[call-overload,unused-ignore,no-any-return]


def _why_not_opened(path: Path) -> str:
    if path.suffix.lower() in PICTURE_SUFFIXES:
        return f"{path} is a picture, not a video: give a video, or the folder of pictures."
    with path.open("rb") as file:
        head = file.read(4096)
    if b"ftyp" in head[:16]:
        return (
            f"{path} is half-written, the index at its end is missing: copy it again from the "
            "camera."
        )
    return f"{path} is not a video that can be read: give an MP4, MOV, MKV, WebM or AVI file."


def _video_stream(path: Path, container: av.container.InputContainer) -> av.video.VideoStream:
    names = set(container.format.name.split(","))
    if names & {"tty"}:
        raise FootageError(f"{path} is text, not a video: give an MP4, MOV, MKV, WebM or AVI file.")
    if names & _NO_VIDEO_FORMATS or any(name.endswith("_pipe") for name in names):
        raise FootageError(
            f"{path} is a picture, not a video: give a video, or the folder of pictures."
        )
    cover = av.stream.Disposition.attached_pic
    streams = [s for s in container.streams.video if not s.disposition & cover]
    if not streams:
        kind = "only sound" if container.streams.audio else "no moving picture"
        raise FootageError(f"{path} holds {kind}: give the file with the picture.")
    known = [s for s in streams if s.codec_context is not None]
    if not known:
        raise FootageError(
            f"{path} is coded in a way that cannot be decoded: convert it to H.264 first."
        )
    stream = max(known, key=lambda s: (s.width or 0) * (s.height or 0))
    check_size(str(path), stream.width or 0, stream.height or 0)
    stream.thread_type = "AUTO"
    stream.codec_context.thread_count = _DECODER_THREADS
    return stream
