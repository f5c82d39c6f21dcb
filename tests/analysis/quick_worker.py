"""The worker with a quick, made-up analysis in place of the slow one: ``python -m ... FOLDER``.

Files in the library's folder tell it what to do: while ``hold`` is there it goes on and on, ``die``
takes the process down in the middle, ``fail`` makes the analysis fail, and ``deaf`` keeps it from
looking whether it was stopped.
"""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import partial

from posescore.analysis.job import main
from posescore.errors import FootageError
from posescore.footage.reading import Footage
from posescore.library.library import Library
from posescore.library.match import Match
from tests.library.samples import analysis

STEPS = 10
STEP_S = 0.02


def quick(
    match: Match,
    settings: Mapping[str, object],
    library: Library,
    progress: Callable[[str, int, int], None],
    warn: Callable[[str], None],
) -> None:
    """Tell of progress for a moment, then keep the analysis of the invented match."""
    for done in range(STEPS):
        _obey(library, partial(progress, "finding both athletes", done, STEPS))
        time.sleep(STEP_S)
    progress("finding both athletes", STEPS, STEPS)
    assert match.info.footage is not None
    clock = Footage(match.info.footage.path).clock()
    library.save_analysis(match.id, replace(analysis(), clock=clock))


def _obey(library: Library, tell: Callable[[], None]) -> None:
    tell()
    if (library.folder / "fail").exists():
        raise FootageError("nobody was found in it; give footage that shows both athletes.")
    if (library.folder / "die").exists():
        os.kill(os.getpid(), signal.SIGKILL)
    while (library.folder / "deaf").exists():
        time.sleep(STEP_S)
    while (library.folder / "hold").exists():
        time.sleep(STEP_S)
        tell()


if __name__ == "__main__":
    main(quick)
