"""The classifier's file: skops, audited before anything is built, with a format number.

The file holds plain dictionaries, lists and numpy arrays; any other type in it is refused before
it is built. Nothing in it is executed while loading.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

from skops import io as skops_io

from posescore import __version__
from posescore.errors import MissingPartError
from posescore.terms import STATES

FORMAT: Final = 3
KIND: Final = "posescore position classifier"


def write_model(path: Path, contents: dict[str, Any]) -> None:
    """Save what :func:`read_model` gives back, with format, versions and names of states."""
    path.parent.mkdir(parents=True, exist_ok=True)
    whole = {
        "kind": KIND,
        "format": FORMAT,
        "program_version": __version__,
        "states": [str(state) for state in STATES],
        **contents,
    }
    unfinished = path.with_suffix(".unfinished")
    skops_io.dump(whole, unfinished)
    unfinished.replace(path)


def read_model(path: Path) -> dict[str, Any]:
    """Audit and read a classifier's file.

    Raises
    ------
    MissingPartError
        When the file is absent, is no such file, holds types that are not allowed, or is of
        another format.
    """
    if not path.is_file():
        raise MissingPartError(f"{path} is missing: install PoseScore again.")
    try:
        foreign = skops_io.get_untrusted_types(file=path)
        if foreign:
            raise MissingPartError(
                f"{path} holds types that a classifier has no need of ({', '.join(foreign)}): "
                "take the file that came with the program."
            )
        contents = skops_io.load(path, trusted=[])
    except MissingPartError:
        raise
    except Exception as error:
        raise MissingPartError(
            f"{path} cannot be read as a position classifier ({type(error).__name__}): "
            "install PoseScore again."
        ) from error
    if not isinstance(contents, dict) or contents.get("kind") != KIND:
        raise MissingPartError(f"{path} is not a position classifier: install PoseScore again.")
    if contents["format"] != FORMAT or contents["states"] != [str(s) for s in STATES]:
        raise MissingPartError(
            f"{path} is of format {contents['format']}, this version reads format {FORMAT}: "
            "install PoseScore again."
        )
    return contents
