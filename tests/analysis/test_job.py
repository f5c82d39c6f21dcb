"""Analyses as jobs: they end in one way, can be stopped, and are taken up again after a crash."""

from __future__ import annotations

import hashlib
import re
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import nullcontext
from pathlib import Path
from typing import IO, Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from posescore.analysis import pipeline
from posescore.analysis.job import (
    PLAN,
    TOLD_EVERY_S,
    Analyse,
    StoppedError,
    analyze_now,
    run_job,
    settings_of,
    share_of,
    work,
)
from posescore.analysis.pipeline import Settings
from posescore.errors import ConflictError, FootageError, NotFoundError
from posescore.footage import proxy
from posescore.footage.clock import FrameClock
from posescore.footage.decoding import Decoded
from posescore.footage.reading import Footage
from posescore.library.adding import add_footage
from posescore.library.jobs import JobState
from posescore.library.library import Library
from posescore.library.match import AthleteInfo, Match, MatchInfo
from posescore.pose.estimators.estimator import Box, PairEstimate, Picture
from posescore.pose.tracking import follow
from posescore.terms import Progress, Step
from tests.library.samples import analysis
from tests.pose.scenes import STANDING
from tests.web.small_match import write_clip

INFO = MatchInfo(
    "Quarter final",
    AthleteInfo("Mira Ostrand", "white"),
    rules="sport-jiu-jitsu-strict-mount",
    division={"age": "juvenile"},
)


@pytest.fixture
def clip(tmp_path: Path) -> Path:
    path = tmp_path / "clip.mp4"
    write_clip(path, FrameClock.steady(5, 10.0))
    return path


@pytest.fixture
def library(tmp_path: Path) -> Library:
    return Library(tmp_path / "library")


@pytest.fixture
def match(library: Library, clip: Path) -> Match:
    return add_footage(library, clip, INFO).match


Act = Callable[[Match, Library, Progress], None]


def keeps(act: Act) -> Analyse:
    """An analysis that does something in its middle and then keeps the invented match."""

    def analyse(
        match: Match,
        settings: Mapping[str, object],
        library: Library,
        progress: Progress,
        warn: Callable[[str], None],
    ) -> None:
        act(match, library, progress)
        library.save_analysis(match.id, analysis())

    return analyse


def test_an_analysis_depends_on_its_job_and_on_what_is_said_of_the_match(match: Match) -> None:
    settings = settings_of(match, {"every_frame": True, "track_file": "/keypoints.json"})
    assert settings == Settings(Path("/keypoints.json"), True, INFO.athlete_a.gi_colour)
    assert settings_of(match, {}) == Settings(athlete_a_gi=INFO.athlete_a.gi_colour)


def test_a_job_runs_and_tells_how_far_it_is(library: Library, match: Match) -> None:
    job = library.queue_job(match.id, {"every_frame": True})
    told: list[tuple[str, int, int]] = []

    def look(match: Match, library: Library, progress: Progress) -> None:
        progress("finding both athletes", 1, 2)
        running = library.job(job.id)
        assert running.state is JobState.RUNNING
        assert running.progress == pytest.approx(PLAN["finding both athletes"][1] / 2)
        assert running.stage == "finding both athletes"
        assert library.is_claimed(match.id)

    run_job(library, job, lambda *step: told.append(step), analyse=keeps(look))
    assert told == [("finding both athletes", 1, 2)]
    assert library.job(job.id).state is JobState.DONE
    assert not library.is_claimed(match.id)
    assert library.match(match.id).analysis_version == 1


def test_a_stopped_job_leaves_nothing(library: Library, match: Match) -> None:
    job = library.queue_job(match.id)

    def stop(match: Match, library: Library, progress: Progress) -> None:
        library.end_job(job.id, JobState.CANCELLED)
        progress("naming positions", 0, 2)
        raise AssertionError("not stopped")

    with pytest.raises(StoppedError):
        run_job(library, job, analyse=keeps(stop))
    assert library.job(job.id).state is JobState.CANCELLED
    assert library.match(match.id).analysis_version is None


def test_a_match_deleted_in_the_middle_is_no_failure(library: Library, match: Match) -> None:
    job = library.queue_job(match.id)

    def delete(match: Match, library: Library, progress: Progress) -> None:
        library.end_job(job.id, JobState.CANCELLED)
        library.delete_match(match.id)
        progress("naming positions", 0, 2)

    with pytest.raises(StoppedError):
        run_job(library, job, analyse=keeps(delete))


def test_a_failure_is_kept_in_a_sentence_and_does_not_hold_up_the_rest(
    library: Library, match: Match, tmp_path: Path
) -> None:
    other = tmp_path / "other.mp4"
    write_clip(other, FrameClock.steady(7, 10.0))
    second = add_footage(library, other, MatchInfo("Second")).match
    jobs = [library.queue_job(match.id), library.queue_job(second.id)]
    asked: list[int] = []

    def act(match: Match, library: Library, progress: Progress) -> None:
        asked.append(1)
        if match.id != second.id:
            raise FootageError("nobody was found in it.")
        raise ZeroDivisionError("by zero")

    work(library, keeps(act))
    assert len(asked) == 2
    ends = [library.job(job.id) for job in jobs]
    assert [end.state for end in ends] == [JobState.FAILED, JobState.FAILED]
    assert ends[0].message == "nobody was found in it."
    assert "ZeroDivisionError" in ends[1].message
    assert len(library.matches()) == 2


def test_work_takes_up_what_a_crash_left_and_passes_over_what_runs_elsewhere(
    library: Library, match: Match, tmp_path: Path
) -> None:
    other = tmp_path / "other.mp4"
    write_clip(other, FrameClock.steady(7, 10.0))
    elsewhere = library.queue_job(add_footage(library, other, MatchInfo("Elsewhere")).match.id)
    left = library.queue_job(match.id)
    library.start_job(left.id)
    library.update_job(left.id, 0.7, "finding both athletes")
    asked: list[int] = []

    def act(match: Match, library: Library, progress: Progress) -> None:
        asked.append(match.id)
        now = library.job(left.id)
        assert now.progress == now.started_progress == 0.0
        for done in (60, 80, 90):
            progress("finding both athletes", done, 100)
            time.sleep(TOLD_EVERY_S)
        now = library.job(left.id)
        assert now.started_progress == pytest.approx(0.8 * 0.97), (
            "time left is counted from new work"
        )

    with library.claim(elsewhere.match_id):
        work(library, keeps(act))
    assert asked == [match.id]
    assert library.job(left.id).state is JobState.DONE
    assert library.job(elsewhere.id).state is JobState.QUEUED


def test_footage_that_changed_or_is_gone_fails_in_a_sentence(
    library: Library, match: Match, clip: Path
) -> None:
    with clip.open("ab") as file:
        file.write(b"more")
    job = library.queue_job(match.id)
    with pytest.raises(NotFoundError, match="another file"):
        run_job(library, job)
    clip.unlink()
    job = library.queue_job(match.id)
    with pytest.raises(FootageError, match="does not exist"):
        run_job(library, job)
    assert "does not exist" in library.job(job.id).message
    bare = library.queue_job(library.add_match(MatchInfo("no footage")).id)
    with pytest.raises(NotFoundError, match="without footage"):
        run_job(library, bare)


def test_a_job_that_runs_is_not_run_twice(library: Library, match: Match) -> None:
    job = library.queue_job(match.id)
    with library.claim(match.id), pytest.raises(ConflictError):
        run_job(library, job)
    assert library.job(job.id).state is JobState.QUEUED
    library.end_job(job.id, JobState.CANCELLED)
    with pytest.raises(ConflictError):
        run_job(library, job)


def test_the_command_line_takes_back_a_match_that_came_to_nothing(
    library: Library, clip: Path
) -> None:
    with pytest.raises(FootageError, match="nobody"):
        analyze_now(library, clip, MatchInfo("Cloth"))  # two squares of cloth, no people
    assert library.matches() == []
    assert library.jobs() == []


def test_the_command_line_keeps_a_match_that_was_there(library: Library, match: Match) -> None:
    library.queue_job(match.id)
    assert match.info.footage is not None
    with library.claim(match.id), pytest.raises(ConflictError, match="being analysed"):
        analyze_now(library, Path(match.info.footage.path), INFO)
    with pytest.raises(FootageError, match="nobody"):
        analyze_now(library, Path(match.info.footage.path), INFO)
    assert library.match(match.id).info == match.info
    newest, before = library.jobs(match.id)
    assert newest.state is JobState.FAILED
    assert before.state is JobState.CANCELLED, "the new job took the place of the waiting one"


@given(
    st.tuples(st.integers(0, 1), st.integers(0, 1000)),
    st.tuples(st.integers(0, 1), st.integers(0, 1000)),
    st.integers(1, 1000),
)
def test_progress_rises_from_stage_to_stage(
    one: tuple[int, int], other: tuple[int, int], total: int
) -> None:
    names = ["finding both athletes", "naming positions"]
    early, late = sorted((one, other))
    shares = [share_of(names[stage], done, total) for stage, done in (early, late)]
    assert 0.0 <= shares[0] <= shares[1] <= 1.0
    assert share_of(names[-1], total, total) == 1.0
    assert share_of(names[0], 0, total) == share_of("something else", 5, total) == 0.0


class Counted:
    """Footage that counts how often it is opened and how many frames are decoded."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.opened = self.frames = self.hashed = 0
        read, digest, init = Footage._read, hashlib.file_digest, Footage.__init__

        def counting(footage: Footage, start: int) -> Iterator[Decoded]:
            for frame in read(footage, start):
                self.frames += 1
                yield frame

        def opening(footage: Footage, path: str | Path) -> None:
            self.opened += 1
            init(footage, path)

        def hashing(file: IO[bytes], name: str) -> Any:
            self.hashed += file.name.endswith(".mkv")
            return digest(file, name)  # type: ignore[arg-type]

        monkeypatch.setattr(Footage, "_read", counting)
        monkeypatch.setattr(Footage, "__init__", opening)
        monkeypatch.setattr("hashlib.file_digest", hashing)


class Pair:
    """Sees two athletes in every picture, or comes to grief after so many."""

    def __init__(self, until: int = 10**9) -> None:
        self.asked, self._until = 0, until

    step = Step("pair")

    def estimate(self, picture: Picture, boxes: tuple[Box, ...] = ()) -> PairEstimate:
        self.asked += 1
        if self.asked > self._until:
            raise KeyboardInterrupt
        points = np.stack([np.add(STANDING / 2, (60, 60)), np.add(STANDING / 2, (130, 60))])
        return PairEstimate(points.astype(np.float32), np.full((2, 21), 0.9, np.float32))

    def close(self) -> None:
        pass


def sees(monkeypatch: pytest.MonkeyPatch, pair: Pair) -> None:
    """Let all analyses ask this estimator."""
    monkeypatch.setattr(pipeline, "opened_estimator", lambda *_, **__: nullcontext(pair))


@pytest.fixture
def film(tmp_path: Path) -> Path:
    path = tmp_path / "film.mkv"
    write_clip(path, FrameClock.steady(90, 30.0))
    return path


def test_footage_is_opened_hashed_and_decoded_once(
    library: Library, film: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    counted = Counted(monkeypatch)
    sees(monkeypatch, Pair())
    match = analyze_now(library, film, INFO)
    assert (counted.opened, counted.hashed, counted.frames) == (1, 1, 90)
    copied = Footage(match.proxy_path)
    np.testing.assert_allclose(copied.clock().pts_s, Footage(film).clock().pts_s, atol=1e-3)


def test_a_copy_is_made_where_the_keypoints_are_known_and_none_where_one_is_not_needed(
    library: Library, film: Path, clip: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sees(monkeypatch, Pair())
    match = analyze_now(library, film, INFO)
    match.proxy_path.unlink()
    told: list[str] = []
    analyze_now(library, film, INFO, progress=lambda stage, done, total: told.append(stage))
    assert match.proxy_path.is_file()
    assert set(told) == {"naming positions", "making a copy for the browser"}
    plays = analyze_now(library, clip, INFO)
    assert not plays.proxy_path.exists()


def test_a_killed_analysis_goes_on_and_makes_the_whole_copy(
    library: Library, film: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first, second = Pair(until=20), Pair()
    sees(monkeypatch, first)
    with pytest.raises(KeyboardInterrupt):
        analyze_now(library, film, INFO)
    (match,) = library.matches()
    assert not list(match.folder.glob("*")), "nothing half-made"
    sees(monkeypatch, second)
    analyze_now(library, film, INFO)
    assert 0 < second.asked <= 45 - 20 + 8, "what was found is not asked again"
    assert len(Footage(match.proxy_path).clock()) == 90


def test_the_stages_are_those_that_are_told() -> None:
    told = set()
    for module in (pipeline, proxy, follow):
        source = Path(str(module.__file__)).read_text("utf-8")
        told |= set(re.findall(r'(?:progress\(|STAGE.* = )"([^"]+)"', source))
    assert told == set(PLAN)
