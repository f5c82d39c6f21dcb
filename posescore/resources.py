"""Where the files that ship with the program lie: weights and the sample match."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Final

from posescore.errors import MissingPartError

MODELS: Final = "models"
SUMS: Final = "SHA256SUMS"
_PACKAGE: Final = Path(__file__).resolve().parent


def shipped(folder: str, name: str) -> Path:
    """Path of a shipped file, ``folder`` being ``models`` or ``sample_video``.

    An installed wheel carries both folders inside the package; a checkout has them beside it.

    Raises
    ------
    MissingPartError
        When the file is in neither place, or is a model other than the one that ships.
    """
    path = _place_of(folder, name)
    if folder == MODELS and name != SUMS and not name.endswith(".md"):
        _check_model(path)
    return path


def shipped_models() -> list[str]:
    """Names of the models that ship with the program."""
    return list(_sums())


def _place_of(folder: str, name: str) -> Path:
    for root in (_PACKAGE, _PACKAGE.parent):
        path = root / folder / name
        if path.exists():
            return path
    raise MissingPartError(f"{folder}/{name} is missing from this installation: install again.")


@cache
def _sums() -> Mapping[str, str]:
    """SHA-256 of every shipped model by its name, as ``sha256sum`` writes them."""
    lines = _place_of(MODELS, SUMS).read_text("utf-8").splitlines()
    return {name: digest for digest, name in (line.split(maxsplit=1) for line in lines)}


@cache
def _check_model(path: Path) -> None:
    """Compare a model with what ships, once in a run: a network decides what people read."""
    with path.open("rb") as file:
        digest = hashlib.file_digest(file, "sha256").hexdigest()
    if _sums().get(path.name) != digest:
        raise MissingPartError(
            f"{path} is another file than the one that ships: install PoseScore again."
        )


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
