"""A table of jobs: what waits to be made, what runs, how it ended, and who works on it now."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from contextlib import AbstractContextManager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

from sqlalchemy import Connection, Row, delete, insert, select, update

from posescore.errors import ConflictError, InputError, NotFoundError
from posescore.library.jobs import Job, JobState
from posescore.library.store import claims
from posescore.library.store.damage import DamagedRowError, json_of, reading_row, text_of
from posescore.library.store.match_rows import moment_of, now_text
from posescore.library.store.plain import LARGEST_ID
from posescore.library.store.schema import JOB
from posescore.library.store.storage import Storage

_OPEN: Final = (JobState.QUEUED.value, JobState.RUNNING.value)


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

    @property
    def path(self) -> Path:
        """The database."""
        return self._storage.path

    def writing(self) -> AbstractContextManager[Connection]:
        """One transaction on the database, for what puts it right."""
        return self._storage.write()

    def close(self) -> None:
        """Let go of the database."""
        self._storage.close()

    def queue_job(self, match_id: int, settings: Mapping[str, object] | None = None) -> Job:
        """Line up a job."""
        with self._storage.write() as connection:
            return insert_job(connection, match_id, settings or {})

    def start_job(self, job_id: int) -> Job:
        """Mark a waiting job, or one that a crash left running, as running from now on."""
        with self._storage.write() as connection:
            job = _read(connection, job_id)
            if job.state.is_final:
                raise ConflictError(f"job {job_id} is {job.state} and cannot start: queue another.")
            started = {"started_at": now_text(), "started_progress": job.progress}
            return _set(connection, job_id, state=JobState.RUNNING.value, **started)

    def update_job(self, job_id: int, progress: float, stage: str = "") -> Job:
        """Note progress, 0 to 1. The job that comes back may be cancelled: then stop."""
        with self._storage.write() as connection:
            job = _read(connection, job_id)
            if job.state.is_final:
                return job
            if not 0.0 <= progress <= 1.0:
                raise InputError(f"progress: {progress} is not from 0 to 1.")
            return _set(connection, job_id, progress=progress, stage=stage or job.stage)

    def end_job(self, job_id: int, state: JobState = JobState.DONE, message: str = "") -> Job:
        """Mark a job as done, failed (with a sentence) or cancelled; the first end stays."""
        with self._storage.write() as connection:
            job = _read(connection, job_id)
            if not state.is_final:
                raise InputError(f"state: a job ends as done, failed or cancelled, not {state}.")
            if state is JobState.FAILED and not message:
                raise InputError("message: a failed job says why in a sentence.")
            if job.state.is_final:
                return job
            progress = 1.0 if state is JobState.DONE else job.progress
            return _set(connection, job_id, state=state.value, message=message, progress=progress)

    def forget_job(self, job_id: int) -> None:
        """Remove a job, as if it had never been."""
        with self._storage.write() as connection:
            connection.execute(delete(JOB).where(JOB.c.id == job_id))

    def job(self, job_id: int) -> Job:
        """One job; NotFoundError where there is none."""
        with self._storage.read() as connection:
            return _read(connection, job_id)

    def jobs(self, match_id: int | None = None, open_only: bool = False) -> Sequence[Job]:
        """Jobs, newest first; ``open_only`` leaves those that wait or run."""
        with self._storage.read() as connection:
            return list_jobs(connection, match_id, open_only)

    def claim(self, match_id: int) -> AbstractContextManager[None]:
        """Hold a match while working on it; ConflictError where a living program does already."""
        return claims.claimed(self.folder / "jobs", match_id)

    def is_claimed(self, match_id: int) -> bool:
        """True while a living program works on it; after a crash nobody does."""
        return claims.is_claimed(self.folder / "jobs", match_id)


# Rows -------------------------------------------------------------------------------------------
def insert_job(connection: Connection, match_id: int, settings: Mapping[str, object]) -> Job:
    """Add a row."""
    values = {"match_id": match_id, "settings": json.dumps(dict(settings))}
    values |= dict.fromkeys(("created_at", "changed_at"), now_text())
    nothing = {"progress": 0.0, "started_progress": 0.0, "stage": "", "message": ""}
    row = insert(JOB).values(**values, **nothing, state=JobState.QUEUED.value)
    return _read(connection, int(connection.execute(row).lastrowid))


def list_jobs(connection: Connection, match_id: int | None, open_only: bool) -> list[Job]:
    """Jobs, newest first; one that cannot be read ended, and says so."""
    query = select(JOB)
    if match_id is not None:
        query = query.where(JOB.c.match_id == match_id)
    if open_only:
        query = query.where(JOB.c.state.in_(_OPEN))
    found = [_job_or_damage(row) for row in connection.execute(query.order_by(JOB.c.id.desc()))]
    return [job for job in found if not (open_only and job.state.is_final)]


def _read(connection: Connection, job_id: int) -> Job:
    known = select(JOB).where(JOB.c.id == min(job_id, LARGEST_ID))
    row = connection.execute(known).one_or_none() if job_id > 0 else None
    if row is None or row.id != job_id:
        raise NotFoundError(f"job {job_id}: there is none of that number.")
    return job_of(row)


def _set(connection: Connection, job_id: int, **values: object) -> Job:
    values["changed_at"] = now_text()
    connection.execute(update(JOB).where(JOB.c.id == job_id).values(**values))
    return _read(connection, job_id)


def job_of(row: Row[Any]) -> Job:
    """The job that a row stands for; DamagedRowError where it cannot be read."""
    values = dict(row._mapping)
    with reading_row(row.match_id, "job"):
        values["state"] = JobState(row.state)
        values["settings"] = dict(json_of(row.settings, "settings"))
        for name in ("created_at", "started_at", "changed_at"):
            values[name] = moment_of(values[name]) if values[name] else None
        for name in ("stage", "message"):
            text_of(values[name], name)
        for name in ("progress", "started_progress"):
            if not 0.0 <= values[name] <= 1.0:
                raise ValueError(f"{name}: is not from 0 to 1")
        return Job(**values)


def _job_or_damage(row: Row[Any]) -> Job:
    try:
        return job_of(row)
    except DamagedRowError as error:
        match_id = row.match_id if isinstance(row.match_id, int) else 0
        then = datetime.fromtimestamp(0, UTC)
        return Job(row.id, match_id, JobState.FAILED, 0.0, "", f"{error}.", {}, then, None, then)
