"""A table of jobs: what waits to be made, what runs, how it ended, and who works on it now."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import AbstractContextManager

from posescore.library.jobs import Job, JobState
from posescore.library.store import claims, job_rows
from posescore.library.store.storage import Storage


class JobTable:
    """Jobs of one database. Safe from several threads and from two processes.

    Every library is one, for its analyses; what is only made in passing has a table of its own.
    """

    def __init__(self, storage: Storage) -> None:
        self._storage = storage
        self.folder = storage.folder

    @property
    def read_only(self) -> str:
        """Why nothing can be edited, in one sentence; empty where everything can."""
        return self._storage.read_only

    def close(self) -> None:
        """Let go of the database."""
        self._storage.close()

    def queue_job(self, match_id: int, settings: Mapping[str, object] | None = None) -> Job:
        """Line up a job."""
        with self._storage.write() as connection:
            return job_rows.queue_job(connection, match_id, settings or {})

    def start_job(self, job_id: int) -> Job:
        """Mark a waiting job, or one that a crash left running, as running from now on."""
        with self._storage.write() as connection:
            return job_rows.start_job(connection, job_id)

    def update_job(self, job_id: int, progress: float, stage: str = "") -> Job:
        """Note progress, 0 to 1. The job that comes back may be cancelled: then stop."""
        with self._storage.write() as connection:
            return job_rows.update_job(connection, job_id, progress, stage)

    def end_job(self, job_id: int, state: JobState = JobState.DONE, message: str = "") -> Job:
        """Mark a job as done, failed (with a sentence) or cancelled; the first end stays."""
        with self._storage.write() as connection:
            return job_rows.end_job(connection, job_id, state, message)

    def forget_job(self, job_id: int) -> None:
        """Remove a job, as if it had never been."""
        with self._storage.write() as connection:
            job_rows.remove_job(connection, job_id)

    def job(self, job_id: int) -> Job:
        """One job; NotFoundError where there is none."""
        with self._storage.read() as connection:
            return job_rows.read_job(connection, job_id)

    def jobs(self, match_id: int | None = None, open_only: bool = False) -> Sequence[Job]:
        """Jobs, newest first; ``open_only`` leaves those that wait or run."""
        with self._storage.read() as connection:
            return job_rows.list_jobs(connection, match_id, open_only)

    def claim(self, match_id: int) -> AbstractContextManager[None]:
        """Hold a match while working on it; ConflictError where a living program does already."""
        return claims.claimed(self.folder / "jobs", match_id)

    def is_claimed(self, match_id: int) -> bool:
        """True while a living program works on it; after a crash nobody does."""
        return claims.is_claimed(self.folder / "jobs", match_id)
