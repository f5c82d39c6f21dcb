"""Where the files that ship with the program lie: weights and the sample match."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from posescore.errors import MissingPartError

_PACKAGE: Final = Path(__file__).resolve().parent


def shipped(folder: str, name: str) -> Path:
    """Path of a shipped file, ``folder`` being ``models`` or ``sample_video``.

    An installed wheel carries both folders inside the package; a checkout has them beside it.

    Raises
    ------
    MissingPartError
        When the file is in neither place.
    """
    for root in (_PACKAGE, _PACKAGE.parent):
        path = root / folder / name
        if path.exists():
            return path
    raise MissingPartError(f"{folder}/{name} is missing from this installation: install again.")


def bytes_of(path: Path) -> bytes:
    """What a file of weights holds.

    Raises
    ------
    MissingPartError
        When it cannot be read.
    """
    try:
        return path.read_bytes()
    except OSError as error:
        raise MissingPartError(f"{path} cannot be read: install PoseScore again.") from error
