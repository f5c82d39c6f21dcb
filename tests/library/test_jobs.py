"""Running analyses outlive a restart."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest

from posescore.errors import ConflictError, InputError, NotFoundError
from posescore.library.jobs import JobState
from posescore.library.library import Library
from tests.library.samples import INFO


def test_a_job_from_queue_to_done_across_a_restart(tmp_path: Path) -> None:
    with Library(tmp_path) as library:
        match = library.add_match(INFO)
        job = library.queue_job(match.id, {"stride": 2})
        with pytest.raises(ConflictError, match="being analysed"):
            library.queue_job(match.id)
        library.start_job(job.id)
        library.update_job(job.id, 0.4, "finding keypoints")
    with Library(tmp_path) as library:
        (left,) = library.jobs(open_only=True)
        assert (left.id, left.state, left.progress) == (job.id, JobState.RUNNING, 0.4)
        assert left.stage == "finding keypoints"
        assert left.settings == {"stride": 2}
        resumed = library.start_job(left.id)
        assert resumed.started_progress == 0.4
        assert resumed.remaining_s(resumed.changed_at) is None, "no rate yet"
        half = library.update_job(job.id, 0.7)
        assert half.started_at is not None
        assert half.stage == "finding keypoints"
        later = half.started_at + timedelta(seconds=30)
        assert half.remaining_s(later) == pytest.approx(30.0)
        done = library.end_job(job.id)
        assert (done.state, done.progress) == (JobState.DONE, 1.0)
        assert not library.jobs(match.id, open_only=True)
        library.queue_job(match.id)
        assert len(library.jobs(match.id)) == 2


def test_the_first_end_of_a_job_stays(tmp_path: Path) -> None:
    with Library(tmp_path) as library:
        job = library.queue_job(library.add_match(INFO).id)
        library.start_job(job.id)
        library.end_job(job.id, JobState.CANCELLED)
        assert library.update_job(job.id, 0.9).state is JobState.CANCELLED
        assert library.update_job(job.id, 0.9).progress == 0.0
        assert library.end_job(job.id, JobState.DONE).state is JobState.CANCELLED
        with pytest.raises(ConflictError, match="cancelled"):
            library.start_job(job.id)


def test_impossible_jobs_are_refused(tmp_path: Path) -> None:
    with Library(tmp_path) as library:
        job = library.queue_job(library.add_match(INFO).id)
        with pytest.raises(InputError, match="progress"):
            library.update_job(job.id, 1.5)
        with pytest.raises(InputError, match="message"):
            library.end_job(job.id, JobState.FAILED)
        with pytest.raises(InputError, match="state"):
            library.end_job(job.id, JobState.RUNNING)
        with pytest.raises(NotFoundError):
            library.job(99)
        with pytest.raises(NotFoundError):
            library.queue_job(99)
        failed = library.end_job(job.id, JobState.FAILED, "The footage is gone.")
        assert failed.message == "The footage is gone."
