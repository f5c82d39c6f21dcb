"""What takes a while to write (reports, clips, films, lessons): made one after the other, beside.

Each waits in a table of jobs of its own, in a passing folder that ends with the server, so that a
library that can only be looked at has outputs too. A worker makes them at low priority: pages stay
quick, and a failure or a stop leaves nothing behind.
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from enum import StrEnum
from pathlib import Path
from threading import Lock
from typing import Final

from posescore.errors import ConflictError, NotFoundError
from posescore.library.job_table import JobTable
from posescore.library.jobs import Job, JobState
from posescore.library.library import Library
from posescore.library.store.storage import Storage
from posescore.web.jobs.supervisor import Supervisor

MOST_KEPT: Final = 12
"""Outputs that are remembered; the oldest finished ones go with their files."""
MOST_WAITING: Final = 20
"""Outputs that wait at once: an evening's matches. A judgement."""
STOP_WITHIN_S: Final = 1.0


class OutputKind(StrEnum):
    """What can be made."""

    REPORT_HTML = "report-html"
    REPORT_PDF = "report-pdf"
    CLIPS = "clips"
    FILM = "film"
    LESSON = "lesson"
    SET_FILM = "set-film"


SUFFIXES: Final[Mapping[OutputKind, str]] = {
    OutputKind.REPORT_HTML: "-report.html",
    OutputKind.REPORT_PDF: "-report.pdf",
    OutputKind.CLIPS: "-clips.zip",
    OutputKind.FILM: "-with-skeletons.mp4",
    OutputKind.LESSON: "-lesson.html",
    OutputKind.SET_FILM: ".mp4",
}


class Outputs:
    """Outputs of one library, one after the other. Safe from several threads.

    Parameters
    ----------
    library
        Whose matches are shown.
    worker
        The program that makes them; the table's folder is added.
    """

    def __init__(self, library: Library, worker: Sequence[str]) -> None:
        self._library = library
        self._worker = worker
        self._open = ExitStack()
        self._lock = Lock()
        self._table: JobTable | None = None

    def _made_table(self) -> JobTable:
        """The table; made, with its folder and its supervisor, for the first output."""
        if self._table is None:
            passing = tempfile.TemporaryDirectory(prefix="posescore-", ignore_cleanup_errors=True)
            table = JobTable(Storage(Path(self._open.enter_context(passing))))
            self._open.callback(table.close)
            self._open.enter_context(Supervisor(table, self._worker, STOP_WITHIN_S))
            self._table = table
        return self._table

    def queue(self, match_id: int, kind: OutputKind, stem: str, how: Mapping[str, object]) -> Job:
        """Line up an output.

        Parameters
        ----------
        stem
            Begins the file's name.
        how
            ``opinion``, ``skeletons``, ``hide_faces``, and ``proposed``, which takes in what nobody
            decided on yet, marked as that.
        """
        settings = {
            **how,
            "kind": kind,
            "name": f"{stem}{SUFFIXES[kind]}",
            "library": str(self._library.folder),
            "read_only": bool(self._library.read_only),
        }
        with self._lock:
            table = self._made_table()
            waiting = table.jobs(open_only=True)
            for each in waiting:
                if (each.match_id, dict(each.settings)) == (match_id, settings):
                    return each  # asked for twice, made once
            if len(waiting) >= MOST_WAITING:
                raise ConflictError(
                    f"{len(waiting)} outputs wait already: stop one, or wait for one to be made."
                )
            job = table.queue_job(match_id, settings)
            jobs = table.jobs()
            ended = [each for each in reversed(jobs) if each.state.is_final]
            for each in ended[: max(0, len(jobs) - MOST_KEPT)]:
                shutil.rmtree(path_of(table, each).parent, ignore_errors=True)
                table.forget_job(each.id)
        return job

    def of_match(self, match_id: int) -> Sequence[Job]:
        """All of a match, oldest first."""
        return [] if self._table is None else list(reversed(self._table.jobs(match_id)))

    def output(self, output_id: int) -> Job:
        """One output; NotFoundError where it is no longer remembered."""
        return self._known(output_id).job(output_id)

    def _known(self, output_id: int) -> JobTable:
        if self._table is None or all(job.id != output_id for job in self._table.jobs()):
            raise NotFoundError(f"output {output_id} is not kept any more: make it again.")
        return self._table

    def file(self, output_id: int) -> Path:
        """A finished output; ConflictError while it is not there yet."""
        table = self._known(output_id)
        job = table.job(output_id)
        path = path_of(table, job)
        if job.state is not JobState.DONE or not path.is_file():
            raise ConflictError(f"output {output_id} is not there to save: it is {job.state}.")
        return path

    def stop(self, output_id: int) -> Job:
        """Stop an output; one that has ended stays as it is."""
        return self._known(output_id).end_job(output_id, JobState.CANCELLED)

    def close(self) -> None:
        """Stop what is being made, and clear up."""
        with self._lock:
            self._table = None
            self._open.close()


def path_of(table: JobTable, job: Job) -> Path:
    """Where an output lies, or would lie."""
    return table.folder / "outputs" / str(job.id) / str(job.settings["name"])
