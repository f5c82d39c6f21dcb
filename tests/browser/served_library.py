"""Serve an empty library whose analyses are quick and made up: ``python -m ... FOLDER``."""

from __future__ import annotations

import sys
from pathlib import Path

from posescore.library.library import Library
from posescore.web.server import serve


def main(folder: Path) -> None:
    """Serve the library in a folder; a second run over the same folder goes on with it."""
    worker = (sys.executable, "-m", "tests.analysis.quick_worker")
    with Library(folder / "library") as library:
        serve(library, port=0, open_browser=False, worker=worker)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
