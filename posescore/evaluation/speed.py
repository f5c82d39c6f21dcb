"""Speed and memory, as ratios: ``posescore benchmark``.

Absolute times say more about the machine than about the program, so each figure that can be one is
a ratio of two times taken in one run.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from posescore.analysis.job import analyze_now
from posescore.analysis.pipeline import pose_pass, read_positions
from posescore.evaluation.film_speed import camera_film, phone_film
from posescore.evaluation.joining import repeated
from posescore.evaluation.measuring import Figure, analyse_command, run_of
from posescore.footage.reading import Footage
from posescore.library.library import Library
from posescore.library.match import MatchInfo
from posescore.pose.coco import track_from_coco
from posescore.pose.estimators.estimator import Box, PairEstimate, Picture
from posescore.pose.estimators.mediapipe_estimator import MediaPipeEstimator
from posescore.pose.estimators.pair_network import PairNetworkEstimator
from posescore.pose.track import PairTrack
from posescore.pose.track_file import write_track
from posescore.resources import shipped
from posescore.scoring.engine import propose
from posescore.scoring.rules import RuleSet

TEN_MINUTES_S: Final = 600.0
TWO_MINUTES_S: Final = 120.0
THINNED: Final = 10
"""How many questions of the pose pass are answered for each that reaches the networks."""


class _TimedMediaPipe(MediaPipeEstimator):
    """MediaPipe's networks, remembering every picture that went into them."""

    def __init__(self) -> None:
        super().__init__()
        self.pictures: list[NDArray[np.uint8]] = []

    def _detect(self, picture: NDArray[np.uint8]) -> Any:
        self.pictures.append(picture)
        return super()._detect(picture)

    def again(self) -> None:
        """Every call once more, bare."""
        for picture in self.pictures:
            super()._detect(picture)


class _TimedPair(PairNetworkEstimator):
    """The shipped estimator, remembering every question it was asked."""

    def __init__(self) -> None:
        super().__init__(alternative_crops=False)
        self.pictures: list[tuple[Picture, tuple[Box, ...]]] = []

    def estimate(self, picture: Picture, boxes: tuple[Box, ...] = ()) -> PairEstimate:
        """Remember the question and answer it."""
        self.pictures.append((picture, boxes))
        return super().estimate(picture, boxes)

    def again(self) -> None:
        """Every call once more, bare."""
        for picture, boxes in self.pictures:
            super().estimate(picture, boxes)


class _Thinned(PairNetworkEstimator):
    """The shipped estimator, asked in earnest now and then; between, its last answer stands."""

    def __init__(self, every: int) -> None:
        super().__init__(alternative_crops=False)
        self._every = every
        self._asked = 0
        self._last = PairEstimate.nobody()

    def estimate(self, picture: Picture, boxes: tuple[Box, ...] = ()) -> PairEstimate:
        """Estimate where it is this picture's turn."""
        if self._asked % self._every == 0:
            self._last = super().estimate(picture, boxes)
        self._asked += 1
        return self._last


def pipeline_ratio(excerpt_s: float = 12.0) -> Iterator[Figure]:
    """Time of the whole pipeline over the time of bare inference calls on the same pictures.

    Both are measured on an excerpt of the sample match, one after the other; the pictures are
    kept in memory, which is why it is an excerpt.
    """
    with tempfile.TemporaryDirectory() as folder:
        video = Path(folder) / "excerpt.mp4"
        repeated(shipped("sample_video", "match.mp4"), video, excerpt_s)
        whole_s, bare_s = _times(video, _TimedMediaPipe())
        yield Figure("with MediaPipe alone, over its bare calls", whole_s / bare_s, "x", 1.15)
        whole_s, bare_s = _times(video, _TimedPair())
        yield Figure("as shipped, over the estimator's calls", whole_s / bare_s, "x", 1.15)
        yield Figure("as shipped, over the footage's own time", whole_s / excerpt_s, "x", 1.0)


def _times(video: Path, estimator: _TimedMediaPipe | _TimedPair) -> tuple[float, float]:
    read_positions(pose_pass(Footage(video), estimator))
    estimator.pictures.clear()
    started = time.perf_counter()
    read_positions(pose_pass(Footage(video), estimator))
    whole_s = time.perf_counter() - started
    started = time.perf_counter()
    estimator.again()
    bare_s = time.perf_counter() - started
    estimator.close()
    return whole_s, bare_s


def long_track(duration_s: float = TEN_MINUTES_S) -> PairTrack:
    """The sample match's true keypoints, repeated to a length."""
    path = shipped("sample_video", "keypoints.json")
    clock = Footage(shipped("sample_video", "match.mp4")).clock()
    track = track_from_coco(path, clock=clock)
    times = int(np.ceil(duration_s / track.end_s))
    rows = np.tile(np.arange(len(track)), times)
    shift_s = np.repeat(np.arange(times) * track.end_s, len(track))
    time_s = track.time_s[rows] + shift_s
    kept = time_s < duration_s
    return replace(
        track,
        keypoints_px=track.keypoints_px[rows][kept],
        keypoint_confidence=track.keypoint_confidence[rows][kept],
        frame_index=np.arange(kept.sum(), dtype=np.int64),
        time_s=time_s[kept],
        end_s=duration_s,
    )


def after_the_pose_pass() -> Iterator[Figure]:
    """Seconds from keypoints to proposals for a ten-minute match at 30 frames a second."""
    track = long_track()
    rules = RuleSet.load()

    def run() -> None:
        reading = read_positions(track)
        propose(reading.holds, reading.events, rules, end_s=track.end_s)

    yield Figure("after the pose pass, ten minutes", _median_s(run, 3), "s", 2.0)


def _median_s(run: Callable[[], None], times: int) -> float:
    taken = []
    for _ in range(times):
        started = time.perf_counter()
        run()
        taken.append(time.perf_counter() - started)
    return float(np.median(taken))


def peak_memory() -> Iterator[Figure]:
    """Peak memory of analysing ten minutes of 720p, and over that of two minutes.

    Everything goes as in ``posescore analyze``, but only every :data:`THINNED`-th question reaches
    the networks: what they hold is the same after few questions as after many, and the rest of
    the time is saved. ``whole-memory`` asks them all.
    """
    yield from _peaks(_analyse_thinly)


def whole_peak_memory() -> Iterator[Figure]:
    """The same for ``posescore analyze`` itself, every question asked; takes as long as that."""
    yield from _peaks(analyse_command)


def _peaks(command: Callable[[Path, Path], list[str]]) -> Iterator[Figure]:
    with tempfile.TemporaryDirectory() as folder:
        short_mb = _peak_mb(Path(folder), TWO_MINUTES_S, command)
        yield Figure("peak memory, two minutes of 720p", short_mb, "MB", 1000.0)
        long_mb = _peak_mb(Path(folder), TEN_MINUTES_S, command)
    yield Figure("peak memory, ten minutes of 720p", long_mb, "MB", 1000.0)
    yield Figure("peak memory, ten minutes over two", long_mb / short_mb, "x", 1.10)


def _analyse_thinly(video: Path, library: Path) -> list[str]:
    call = f"from {__name__} import analyse_thinly as a; a({str(video)!r}, {str(library)!r})"
    return [sys.executable, "-c", call]


def analyse_thinly(video: str, library_folder: str) -> None:
    """Analyse a video with few questions to the networks, in a process that is measured."""
    estimator, track_file = _Thinned(THINNED), Path(video).with_suffix(".parquet")
    write_track(pose_pass(Footage(video), estimator), track_file)
    with Library(Path(library_folder)) as library:
        analyze_now(library, Path(video), MatchInfo("Thin"), {"track_file": str(track_file)})
    estimator.close()


def _peak_mb(folder: Path, duration_s: float, command: Callable[[Path, Path], list[str]]) -> float:
    video = folder / f"{duration_s:.0f}.mp4"
    repeated(shipped("sample_video", "match.mp4"), video, duration_s)
    return run_of(command(video, folder / "library")).peak_mb


def sample_match() -> Iterator[Figure]:
    """``posescore analyze`` on the sample match with nothing kept, from its start to its end.

    The processor's time over both cores' is told too: on a machine that does other work as well,
    the clock's says more about that work.
    """
    video = shipped("sample_video", "match.mp4")
    length_s = Footage(video).clock().end_s
    with tempfile.TemporaryDirectory() as folder:
        taken = run_of(analyse_command(video, Path(folder)))
    load = os.getloadavg()[0]
    yield Figure("load of the machine, processes that want one of its cores", load, "")
    yield Figure("sample match, time over its own", taken.wall_s / length_s, "x", 0.5)
    yield Figure("sample match, processor time over its own", taken.processor_s / length_s, "x")
    yield Figure("sample match, peak memory", taken.peak_mb, "MB")


def help_time() -> Iterator[Figure]:
    """Seconds of ``posescore --help`` over those of starting Python with nothing to do."""
    command = [sys.executable, "-m", "posescore", "--help"]

    def run() -> None:
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL)

    yield Figure("posescore --help", _median_s(run, 5), "s", 0.3)


def pages() -> Iterator[Figure]:
    """The review page of ten minutes of 720p: first view, key presses, skeletons while playing."""
    from posescore.evaluation.browser import headless_browser, served
    from posescore.evaluation.page_speed import measure_pages

    with headless_browser() as browser, tempfile.TemporaryDirectory() as folder:
        match_id = _long_match(Path(folder))
        with served(Path(folder) / "library") as address:
            speed = measure_pages(browser, address, match_id)
    yield Figure(
        "load of the machine, processes that want one of its cores", os.getloadavg()[0], ""
    )
    yield Figure("first view, the server just started", speed.first_ms, "ms", 1500.0)
    yield from _spread("first view", speed.views_ms, 1500.0)
    for name, times in speed.parts_ms.items():
        yield from _spread(f"first view, {name}", times)
    yield from _spread("first view, a page with nothing on it", speed.plain_views_ms)
    yield from _spread("key press to paint, all keys", speed.all_keys_ms, 100.0)
    for key, times in speed.keys_ms.items():
        yield from _spread(f"key press to paint, {key}", times)
    yield from _spread("key press to paint, a page with nothing on it", speed.plain_keys_ms)
    missed = 100 * (1 - speed.with_skeletons / speed.frames)
    yield Figure(
        f"frames without their skeletons, of {speed.frames} at 30 a second", missed, "%", 1.0
    )
    yield Figure("frames left out by a page with nothing else", 100 * (1 - speed.plain_share), "%")
    yield from _spread("drawing one frame's skeletons", speed.overlay_ms, 33.3)


def _spread(name: str, times_ms: list[float], limit: float | None = None) -> Iterator[Figure]:
    """Median and 95th percentile of some times."""
    yield Figure(f"{name}, median of {len(times_ms)}", float(np.median(times_ms)), "ms", limit)
    yield Figure(f"{name}, 95th percentile", float(np.percentile(times_ms, 95)), "ms", limit)


def _long_match(folder: Path) -> int:
    """A library with ten minutes of the sample match, analysed from its true keypoints."""
    video, track_file = folder / "ten minutes.mp4", folder / "ten minutes.parquet"
    repeated(shipped("sample_video", "match.mp4"), video, TEN_MINUTES_S)
    # One frame fewer: the cut may fall between frames that are stored out of order.
    ends_s = float(Footage(video).clock().pts_s[-2])
    write_track(long_track(ends_s), track_file)
    with Library(folder / "library") as library:
        kept = {"track_file": str(track_file)}
        return analyze_now(library, video, MatchInfo("Ten minutes"), kept).id


MEASURES: Final[dict[str, Callable[[], Iterator[Figure]]]] = {
    "help": help_time,
    "pipeline": pipeline_ratio,
    "match": sample_match,
    "phone": phone_film,
    "full-hd": camera_film,
    "after": after_the_pose_pass,
    "pages": pages,
    "memory": peak_memory,
    "whole-memory": whole_peak_memory,
}
"""What can be measured. ``whole-memory`` analyses twelve minutes of footage and takes that long."""

USUAL: Final = ("help", "pipeline", "match", "phone", "full-hd", "after", "pages", "memory")
"""The parts that are measured where none is named."""
