"""One sentence when a system library that a wheel links is not there."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator, Mapping
from typing import Final

from posescore.errors import MissingPartError

DEBIAN_PACKAGE: Final[Mapping[str, str]] = {
    "libGL.so": "libgl1",
    "libEGL.so": "libegl1",
    "libGLESv2.so": "libgles2",
    "libglib-2.0.so": "libglib2.0-0",
    "libgthread-2.0.so": "libglib2.0-0",
    "libxcb.so": "libxcb1",
    "libX11.so": "libx11-6",
    "libSM.so": "libsm6",
    "libICE.so": "libice6",
    "libXext.so": "libxext6",
    "libstdc++.so": "libstdc++6",
}
"""Debian's package for each shared library that the wheels of OpenCV and MediaPipe link."""


def missing_library(error: BaseException) -> str | None:
    """File name of the shared library an import or a load failed on, or None."""
    message = str(error)
    for word in message.replace(":", " ").replace("'", " ").replace('"', " ").split():
        if ".so" in word and ("cannot open shared object" in message or "not found" in message):
            return word
    return None


def check_memory(error: BaseException) -> None:
    """Tell too little memory from everything else that a native library fails on.

    Raises
    ------
    MemoryError
        Where the error says that there was none left.
    """
    said = str(error).lower()
    if any(word in said for word in ("allocate", "bad_alloc", "out of memory", "failed to map")):
        raise MemoryError from error


@contextlib.contextmanager
def named_when_missing(part: str) -> Iterator[None]:
    """Turn a failed import of ``part`` into one sentence that names the Debian package.

    Raises
    ------
    MissingPartError
        When ``part`` cannot be imported or loaded.
    """
    try:
        yield
    except (ImportError, OSError) as error:
        check_memory(error)
        library = missing_library(error)
        known = (p for stem, p in DEBIAN_PACKAGE.items() if (library or "").startswith(stem))
        package = next(known, None)
        if library is None:
            what = f"cannot be loaded ({error}): install PoseScore again."
        elif package is None:
            what = f"needs the system library {library}: install the package that brings it."
        else:
            what = (
                f"needs the system library {library}: on Debian or Ubuntu run "
                f"'apt-get install {package}'."
            )
        raise MissingPartError(f"{part} {what}") from error
