"""Analyses run in a process of their own, one at a time, and outlive whatever is killed."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from posescore.evaluation.joining import repeated
from posescore.footage.clock import FrameClock
from posescore.library.adding import add_footage
from posescore.library.jobs import Job, JobState
from posescore.library.library import Library
from posescore.library.match import MatchInfo
from posescore.resources import shipped
from posescore.web.jobs.supervisor import ANALYSES, Supervisor
from tests.web.small_match import write_clip

QUICK = (sys.executable, "-m", "tests.analysis.quick_worker")
PATIENCE_S = 300.0  # only a busy machine needs so long
SERVER = """
import sys, time
from pathlib import Path
from posescore.library.library import Library
from posescore.web.jobs.supervisor import Supervisor
with Library(Path(sys.argv[1])) as library, Supervisor(library, sys.argv[2:]):
    print("serving", flush=True)
    time.sleep(600)
"""


@pytest.fixture
def library(tmp_path: Path) -> Iterator[Library]:
    with Library(tmp_path / "library") as library:
        yield library


def queued(library: Library, tmp_path: Path, frames: int = 5) -> Job:
    clip = tmp_path / f"clip{frames}.mp4"
    write_clip(clip, FrameClock.steady(frames, 10.0))
    return library.queue_job(add_footage(library, clip, MatchInfo(f"clip {frames}")).match.id)


def until(true: Callable[[], bool]) -> None:
    give_up = time.monotonic() + PATIENCE_S
    while not true():
        assert time.monotonic() < give_up, "waited in vain"
        time.sleep(0.05)


def state(library: Library, job: Job) -> JobState:
    return library.job(job.id).state


def test_what_waits_is_analysed_one_after_the_other_whoever_serves(
    library: Library, tmp_path: Path
) -> None:
    jobs = [queued(library, tmp_path, frames) for frames in (5, 6, 7)]
    together = 0
    with Supervisor(library, QUICK), Supervisor(library, QUICK):

        def done() -> bool:
            nonlocal together
            states = [state(library, job) for job in jobs]
            together = max(together, states.count(JobState.RUNNING))
            return states == [JobState.DONE] * 3

        until(done)
        later = queued(library, tmp_path, 8)
        until(lambda: state(library, later) is JobState.DONE)
    assert together == 1
    ends = [library.job(job.id).changed_at for job in jobs]
    assert ends == sorted(ends), "first come, first analysed"


def test_a_killed_worker_is_replaced_and_the_job_taken_up_again(
    library: Library, tmp_path: Path
) -> None:
    (library.folder / "hold").touch()
    job = queued(library, tmp_path)
    with Supervisor(library, QUICK) as supervisor:
        until(lambda: library.job(job.id).progress > 0 or library.job(job.id).stage != "")
        worker = supervisor._worker
        assert worker is not None
        os.kill(worker.pid, signal.SIGKILL)
        (library.folder / "hold").unlink()
        until(lambda: state(library, job) is JobState.DONE)


def test_an_analysis_that_takes_its_process_down_twice_is_given_up(
    library: Library, tmp_path: Path
) -> None:
    (library.folder / "die").touch()
    job = queued(library, tmp_path)
    with Supervisor(library, QUICK):
        until(lambda: state(library, job) is JobState.FAILED)
        assert "broke off twice" in library.job(job.id).message
        (library.folder / "die").unlink()
        other = queued(library, tmp_path, 6)
        until(lambda: state(library, other) is JobState.DONE)


def test_a_failure_is_told_and_the_next_one_runs(library: Library, tmp_path: Path) -> None:
    (library.folder / "fail").touch()
    job = queued(library, tmp_path)
    with Supervisor(library, QUICK):
        until(lambda: state(library, job) is JobState.FAILED)
        assert "nobody was found" in library.job(job.id).message


@pytest.mark.parametrize("how", ["hold", "deaf"])
def test_a_stopped_analysis_lets_go_even_when_it_does_not_listen(
    library: Library, tmp_path: Path, how: str
) -> None:
    (library.folder / how).touch()
    job = queued(library, tmp_path)
    with Supervisor(library, QUICK, stop_within_s=1.0):
        until(lambda: library.job(job.id).stage == "finding both athletes")
        library.end_job(job.id, JobState.CANCELLED)
        until(lambda: not library.is_claimed(job.match_id))
        (library.folder / how).unlink()
        other = queued(library, tmp_path, 6)
        until(lambda: state(library, other) is JobState.DONE)
    assert library.match(job.match_id).analysis_version is None


def test_when_the_server_is_killed_its_worker_ends_and_a_new_server_goes_on(
    library: Library, tmp_path: Path
) -> None:
    (library.folder / "hold").touch()
    job = queued(library, tmp_path)
    command = [sys.executable, "-c", SERVER, str(library.folder), *QUICK]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as server:
        assert server.stdout is not None
        assert server.stdout.readline() == "serving\n"
        until(lambda: library.job(job.id).stage == "finding both athletes")
        server.kill()
        server.wait()
    until(lambda: not library.is_claimed(job.match_id))
    assert state(library, job) is JobState.RUNNING, "the library remembers that it was running"
    (library.folder / "hold").unlink()
    with Supervisor(library, QUICK):
        until(lambda: state(library, job) is JobState.DONE)


def test_leaving_ends_the_worker_and_keeps_the_job(library: Library, tmp_path: Path) -> None:
    (library.folder / "hold").touch()
    job = queued(library, tmp_path)
    with Supervisor(library, QUICK):
        until(lambda: library.job(job.id).stage == "finding both athletes")
    assert not library.is_claimed(job.match_id)
    assert state(library, job) is JobState.RUNNING


def test_the_usual_worker_analyses_two_seconds_of_the_sample_match(
    library: Library, tmp_path: Path
) -> None:
    video = tmp_path / "short.mp4"
    repeated(shipped("sample_video", "match.mp4"), video, 2.0)
    match = add_footage(library, video, MatchInfo("two seconds")).match
    job = library.queue_job(match.id)
    stages: set[str] = set()
    with Supervisor(library, ANALYSES):

        def done() -> bool:
            now = library.job(job.id)
            stages.add(now.stage)
            return now.state.is_final

        until(done)
    assert library.job(job.id).message == ""
    assert library.match(match.id).analysis_version == 1
    assert library.review(match.id).holds
    assert "finding both athletes" in stages
    (library.folder / "jobs" / "worker.txt").read_text()
