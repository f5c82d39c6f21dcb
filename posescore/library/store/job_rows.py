"""Jobs in the database."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime
from typing import Any, Final

from sqlalchemy import Connection, Row, delete, insert, select, update

from posescore.errors import ConflictError, InputError, NotFoundError
from posescore.library.jobs import Job, JobState
from posescore.library.store.match_rows import now_text
from posescore.library.store.plain import LARGEST_ID
from posescore.library.store.schema import JOB

_OPEN: Final = (JobState.QUEUED.value, JobState.RUNNING.value)


def _job(row: Row[Any]) -> Job:
    return Job(
        row.id,
        row.match_id,
        JobState(row.state),
        row.progress,
        row.stage,
        row.message,
        json.loads(row.settings),
        datetime.fromisoformat(row.created_at),
        datetime.fromisoformat(row.started_at) if row.started_at else None,
        datetime.fromisoformat(row.changed_at),
        row.started_progress,
    )


def read_job(connection: Connection, job_id: int) -> Job:
    """One job; NotFoundError where there is none."""
    if not 0 < job_id <= LARGEST_ID:
        raise NotFoundError(f"job {job_id}: there is none of that number.")
    row = connection.execute(select(JOB).where(JOB.c.id == job_id)).one_or_none()
    if row is None:
        raise NotFoundError(f"job {job_id}: there is none of that number.")
    return _job(row)


def list_jobs(connection: Connection, match_id: int | None, open_only: bool) -> list[Job]:
    """Jobs, newest first."""
    query = select(JOB)
    if match_id is not None:
        query = query.where(JOB.c.match_id == match_id)
    if open_only:
        query = query.where(JOB.c.state.in_(_OPEN))
    return [_job(row) for row in connection.execute(query.order_by(JOB.c.id.desc()))]


def queue_job(connection: Connection, match_id: int, settings: Mapping[str, object]) -> Job:
    """Line up a job."""
    moment = now_text()
    row = insert(JOB).values(
        match_id=match_id,
        state=JobState.QUEUED.value,
        progress=0.0,
        started_progress=0.0,
        stage="",
        message="",
        settings=json.dumps(dict(settings)),
        created_at=moment,
        changed_at=moment,
    )
    return read_job(connection, int(connection.execute(row).lastrowid))


def remove_job(connection: Connection, job_id: int) -> None:
    """Delete a job."""
    connection.execute(delete(JOB).where(JOB.c.id == job_id))


def _set(connection: Connection, job_id: int, **values: object) -> Job:
    values["changed_at"] = now_text()
    connection.execute(update(JOB).where(JOB.c.id == job_id).values(**values))
    return read_job(connection, job_id)


def start_job(connection: Connection, job_id: int) -> Job:
    """Mark an open job as running from now on, at the progress it has."""
    job = read_job(connection, job_id)
    if job.state.is_final:
        raise ConflictError(f"job {job_id} is {job.state} and cannot start: queue another.")
    return _set(
        connection,
        job_id,
        state=JobState.RUNNING.value,
        started_at=now_text(),
        started_progress=job.progress,
    )


def update_job(connection: Connection, job_id: int, progress: float, stage: str) -> Job:
    """Note progress of a running job; one that ended stays as it ended."""
    job = read_job(connection, job_id)
    if job.state.is_final:
        return job
    if not 0.0 <= progress <= 1.0:
        raise InputError(f"progress: {progress} is not from 0 to 1.")
    return _set(connection, job_id, progress=progress, stage=stage or job.stage)


def end_job(connection: Connection, job_id: int, state: JobState, message: str) -> Job:
    """Mark a job as ended; the first end stays."""
    job = read_job(connection, job_id)
    if not state.is_final:
        raise InputError(f"state: a job ends as done, failed or cancelled, not {state}.")
    if state is JobState.FAILED and not message:
        raise InputError("message: a failed job says why in a sentence.")
    if job.state.is_final:
        return job
    progress = 1.0 if state is JobState.DONE else job.progress
    return _set(connection, job_id, state=state.value, message=message, progress=progress)
