"""Make the outputs that wait in a table: ``python -m posescore.web.jobs.output_worker FOLDER``.

Runs in a process of its own, one output after the other, and ends with the server.
"""

from __future__ import annotations

import os
import shutil
import sys
import tempfile
import time
from contextlib import suppress
from pathlib import Path
from typing import Any, Final
from zipfile import ZIP_STORED, ZipFile

from posescore.analysis.job import StoppedError, end_with
from posescore.errors import ConflictError, PoseScoreError
from posescore.export.shots import Showing
from posescore.library.job_table import JobTable
from posescore.library.jobs import Job, JobState
from posescore.library.library import Library
from posescore.library.store.claims import QUEUE
from posescore.library.store.storage import Storage
from posescore.terms import Progress
from posescore.web.jobs.outputs import OutputKind, path_of
from posescore.words import speaking

EVERY_S: Final = 0.3
"""Progress is told this often: a page asks less often, and every note waits for the disk."""
LOW_PRIORITY: Final = 10


def main() -> None:
    """Work on the table of the folder that the command line names, unless somebody does."""
    end_with(sys.stdin.fileno())
    if hasattr(os, "nice"):
        os.nice(LOW_PRIORITY)
    table = JobTable(Storage(Path(sys.argv[1])))
    with suppress(ConflictError), table.claim(QUEUE):
        while waiting := table.jobs(open_only=True):
            with suppress(ConflictError, StoppedError), table.claim(waiting[-1].match_id):
                make(table, table.start_job(waiting[-1].id))


def make(table: JobTable, job: Job) -> None:
    """Make one output; how it ended is written into the table.

    Raises
    ------
    StoppedError
        When somebody stopped it. Nothing half-made is left.
    """
    out = path_of(table, job)
    shutil.rmtree(out.parent, ignore_errors=True)  # left by a worker that was killed
    out.parent.mkdir(parents=True)
    try:
        with speaking(str(job.settings.get("language", ""))):
            _written(job, out, _teller(table, job.id))
        table.end_job(job.id)
    except PoseScoreError as error:
        _failed(table, job, out, str(error))
    except OSError as error:
        _failed(table, job, out, f"{error.filename or 'the disk'}: {error.strerror or error}.")
    except StoppedError:
        shutil.rmtree(out.parent, ignore_errors=True)
        raise


def _failed(table: JobTable, job: Job, out: Path, sentence: str) -> None:
    shutil.rmtree(out.parent, ignore_errors=True)
    table.end_job(job.id, JobState.FAILED, sentence)


def _teller(table: JobTable, job_id: int) -> Progress:
    told_s = 0.0

    def tell(stage: str, done: int, total: int) -> None:
        nonlocal told_s
        if done == total or time.monotonic() > told_s + EVERY_S:
            told_s = time.monotonic()
            if table.update_job(job_id, done / max(total, 1)).state is not JobState.RUNNING:
                raise StoppedError

    return tell


def _written(job: Job, out: Path, progress: Progress) -> None:
    how, kind = job.settings, OutputKind(str(job.settings["kind"]))
    showing = Showing(skeletons=bool(how["skeletons"]), hide_faces=bool(how["hide_faces"]))
    common: dict[str, Any] = {"showing": showing, "progress": progress, "opinion": how["opinion"]}
    of_what: dict[str, Any] = {"proposed": bool(how["proposed"])}
    with Library(Path(str(how["library"])), read_only=bool(how["read_only"])) as library:
        if kind in (OutputKind.REPORT_HTML, OutputKind.REPORT_PDF):
            from posescore.export.report import write_report

            write_report(library, job.match_id, out, **common, **of_what)
        elif kind is OutputKind.FILM:
            from posescore.export.clips import write_annotated

            write_annotated(library, job.match_id, out, **common)
        elif kind is OutputKind.SET_FILM:
            from posescore.export.sets import write_set

            write_set(library, str(how["set"]), out, showing=showing, progress=progress)
        elif kind is OutputKind.LESSON:
            from posescore.export.lesson import write_lesson

            write_lesson(library, job.match_id, out, **common, **of_what)
        else:
            from posescore.export.clips import write_clips

            with tempfile.TemporaryDirectory(dir=out.parent) as folder:
                clips = write_clips(library, job.match_id, Path(folder), **common, **of_what)
                with ZipFile(out, "w", ZIP_STORED) as box:  # films do not shrink any further
                    for clip in clips:
                        box.write(clip, clip.name)


if __name__ == "__main__":
    main()
