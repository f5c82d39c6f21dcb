"""Sees to it that what waits is made, in another process, while pages are served.

A table of jobs is all that the two processes share: pages write a job into it, the worker runs it
and writes how far it is. Analyses wait in the library's own table, outputs in a passing one.
"""

from __future__ import annotations

import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Sequence
from typing import IO, Final, Self

from posescore.errors import PoseScoreError
from posescore.library.job_table import JobTable
from posescore.library.jobs import Job, JobState
from posescore.library.store.claims import QUEUE

ANALYSES: Final = (sys.executable, "-m", "posescore.analysis.job")
"""The worker of a library; its folder is added."""
LOOK_EVERY_S: Final = 0.5
STOP_WITHIN_S: Final = 5.0
"""A worker that has not let go of a stopped job by then is ended; it keeps nothing half-made."""
MOST_BREAKS: Final = 2
"""A job that takes its process down that often is given up."""
_BROKE_OFF: Final = (
    "It broke off twice without a word, perhaps for want of memory: close other programs and try "
    "it again."
)


class Supervisor:
    """Starts a worker whenever jobs wait and none runs; ends it with the server.

    Parameters
    ----------
    table
        Whose jobs are run.
    command
        The worker; the table's folder is added.
    stop_within_s
        How long a worker may go on with a job that a person stopped.
    """

    def __init__(
        self,
        table: JobTable,
        command: Sequence[str] = ANALYSES,
        stop_within_s: float = STOP_WITHIN_S,
    ) -> None:
        self._table = table
        self._stop_within_s = stop_within_s
        self._command = command
        self._worker: subprocess.Popen[bytes] | None = None
        self._leave = threading.Event()
        self._breaks: Counter[int] = Counter()
        self._held_since: dict[int, float] = {}
        self._ended_for: set[int] = set()
        self._thread = threading.Thread(target=self._watch, name="jobs", daemon=True)

    def __enter__(self) -> Self:
        if not self._table.read_only:
            self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._leave.set()
        if self._thread.is_alive():
            self._thread.join()
        self._end_worker()

    def _watch(self) -> None:
        while not self._leave.wait(LOOK_EVERY_S):
            try:
                self._look()
            except PoseScoreError:
                continue  # a table that cannot be read now may be readable later

    def _look(self) -> None:
        if self._worker is not None and self._worker.poll() is None:
            self._end_deaf_worker()
            return
        if self._worker is not None:
            code = self._worker.returncode
            self._end_worker()
            self._note_end(code)
        waits = any(not self._table.is_claimed(job.match_id) for job in self._open())
        if waits and not self._table.is_claimed(QUEUE):  # another server's worker may be at it
            self._start_worker()

    def _open(self) -> Sequence[Job]:
        return self._table.jobs(open_only=True)

    def _start_worker(self) -> None:
        folder = self._table.folder
        with self._log() as log:
            self._worker = subprocess.Popen(
                [*self._command, str(folder)],
                stdin=subprocess.PIPE,
                stdout=subprocess.DEVNULL,
                stderr=log,
                start_new_session=True,  # Ctrl-C in the terminal is for the server
            )

    def _log(self) -> IO[bytes]:
        """What the newest worker complains about."""
        folder = self._table.folder / "jobs"
        folder.mkdir(parents=True, exist_ok=True)
        return (folder / "worker.txt").open("wb")

    def _note_end(self, code: int) -> None:
        """Give up a job that took its process down too often."""
        if not code:
            return
        for job in self._open():
            if job.state is JobState.RUNNING and not self._table.is_claimed(job.match_id):
                self._breaks[job.id] += 1
                if self._breaks[job.id] >= MOST_BREAKS:
                    self._table.end_job(job.id, JobState.FAILED, _BROKE_OFF)

    def _end_deaf_worker(self) -> None:
        """End a worker that goes on with a match although a person stopped it."""
        now = time.monotonic()
        held = {job.id for job in self._stopped() if self._table.is_claimed(job.match_id)}
        self._held_since = {each: self._held_since.get(each, now) for each in held}
        deaf = {each for each in held if now > self._held_since[each] + self._stop_within_s}
        if deaf - self._ended_for:  # once only: the command line may be who does not listen
            self._ended_for |= deaf
            self._end_worker()

    def _stopped(self) -> list[Job]:
        """The newest stopped job of every match that has none running."""
        newest: dict[int, Job] = {}
        running = set()
        for job in self._table.jobs()[:_NEWEST]:
            if job.state is JobState.RUNNING:
                running.add(job.match_id)
            elif job.state is JobState.CANCELLED:
                newest.setdefault(job.match_id, job)
        return [job for match_id, job in newest.items() if match_id not in running]

    def _end_worker(self) -> None:
        if self._worker is None:
            return
        self._worker.kill()
        self._worker.wait()
        if self._worker.stdin is not None:
            self._worker.stdin.close()
        self._worker = None


_NEWEST: Final = 20
"""Among so many jobs a stopped one is looked for."""
