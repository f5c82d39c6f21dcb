"""Make one output in a process of its own: ``python -m posescore.web.make_output WISH``.

The wish is one JSON object; progress and a refusal are printed as one JSON object a line.
"""

from __future__ import annotations

import contextlib
import json
import os
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final
from zipfile import ZIP_STORED, ZipFile

from posescore.errors import PoseScoreError
from posescore.export.shots import Showing
from posescore.library.library import Library
from posescore.terms import Progress

EVERY_S: Final = 0.1
"""Progress is said this often: a page asks less often."""
LOW_PRIORITY: Final = 10


def main(asked: str) -> int:
    """Make what is asked for; 0 where it is done."""
    if hasattr(os, "nice"):
        os.nice(LOW_PRIORITY)
    wish: dict[str, Any] = json.loads(asked)
    try:
        with Library(Path(wish["library"]), read_only=wish["read_only"]) as library:
            _MAKE[wish["kind"]](library, wish, Path(wish["out"]))
    except PoseScoreError as error:
        _say(error=str(error))
        return error.exit_code
    except OSError as error:
        _say(error=f"{error.filename or 'the disk'}: {error.strerror or error}.")
        return 2
    return 0


def _say(**what: object) -> None:
    print(json.dumps(what), flush=True)


def _telling() -> Progress:
    said_s = 0.0

    def told(stage: str, done: int, total: int) -> None:
        nonlocal said_s
        if done == total or time.monotonic() - said_s > EVERY_S:
            said_s = time.monotonic()
            _say(done=done, total=total)

    return told


def _common(wish: dict[str, Any]) -> dict[str, Any]:
    return {
        "opinion": wish["opinion"],
        "showing": Showing(skeletons=wish["skeletons"], hide_faces=wish["hide_faces"]),
        "progress": _telling(),
    }


def _report(library: Library, wish: dict[str, Any], out: Path) -> None:
    from posescore.export.report import write_report

    write_report(library, wish["match_id"], out, **_common(wish))


def _lesson(library: Library, wish: dict[str, Any], out: Path) -> None:
    from posescore.export.lesson import write_lesson

    write_lesson(library, wish["match_id"], out, proposed=wish["proposed"], **_common(wish))


def _film(library: Library, wish: dict[str, Any], out: Path) -> None:
    from posescore.export.clips import write_annotated

    write_annotated(library, wish["match_id"], out, **_common(wish))


def _clips(library: Library, wish: dict[str, Any], out: Path) -> None:
    from posescore.export.clips import write_clips

    with tempfile.TemporaryDirectory(dir=out.parent) as folder:
        clips = write_clips(
            library, wish["match_id"], Path(folder), proposed=wish["proposed"], **_common(wish)
        )
        with ZipFile(out, "w", ZIP_STORED) as box:  # films do not shrink any further
            for clip in clips:
                box.write(clip, clip.name)


_MAKE: Final[dict[str, Callable[[Library, dict[str, Any], Path], None]]] = {
    "report-html": _report,
    "report-pdf": _report,
    "clips": _clips,
    "film": _film,
    "lesson": _lesson,
}

if __name__ == "__main__":
    with contextlib.suppress(BrokenPipeError):  # the server has gone: nobody waits for it
        sys.exit(main(sys.argv[1]))
