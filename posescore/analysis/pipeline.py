"""One match through all stages: footage, keypoints, positions, holds, events, the library.

A run can be resumed: keypoints are kept by the footage's hash and the estimator's settings, so a
second run over the same footage starts behind the pose pass, or in its middle where the first was
killed there.
"""

from __future__ import annotations

import importlib
import json
import tempfile
import threading
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

import numpy as np

from posescore import __version__
from posescore.errors import FootageError, InputError
from posescore.footage.proxy import make_proxy, plays_in_browsers
from posescore.footage.reading import Footage, open_footage
from posescore.holds.event import MatchEvent
from posescore.holds.find import find_holds
from posescore.holds.hold import Hold
from posescore.library.analysis import Analysis
from posescore.library.library import Library
from posescore.library.match import DEFAULT_RULES, AthleteInfo, Match, MatchInfo
from posescore.library.match import Footage as FootageRecord
from posescore.pose.coco import PosedPicture, pictures_of_track, read_coco, track_from_coco
from posescore.pose.estimators.choice import USUAL, opened_estimator
from posescore.pose.estimators.estimate_cache import cached_estimates
from posescore.pose.estimators.estimator import PairEstimator
from posescore.pose.track import PairTrack
from posescore.pose.track_cache import cache_key, cached_track
from posescore.pose.track_file import read_track, write_track
from posescore.pose.tracking.follow import FOLLOWING_VERSION, follow, usual_step
from posescore.position.probabilities import PositionProbabilities
from posescore.resources import shipped
from posescore.scoring.match_time import Division
from posescore.scoring.rules import RuleSet
from posescore.terms import Provenance


class Progress(Protocol):
    """Told how far a stage is: its name, how many of how many."""

    def __call__(self, stage: str, done: int, total: int) -> None:
        """Report; raising stops the run and leaves nothing half-written."""
        ...


def silent(stage: str, done: int, total: int) -> None:
    """Report to nobody."""


@dataclass(frozen=True, slots=True)
class Request:
    """What a person asks for when a video is analysed.

    Parameters
    ----------
    video
        The footage.
    track_file
        Keypoints to use instead of the pose pass: a PairTrack (Parquet) or COCO keypoints (JSON).
    rules
        Rule set, by name or path.
    division
        Age class and belt as the score log writes them; sets the match time.
    title, event, athlete_a, athlete_b
        Shown in the library. The gi colour of A, where given, decides which slot is whose.
    every_frame
        Estimate poses on every frame instead of the default sampling.
    estimator
        Name of what finds keypoints, of :data:`posescore.pose.estimators.choice.NAMES`.
    """

    video: Path
    track_file: Path | None = None
    rules: str = DEFAULT_RULES
    division: Mapping[str, str] | None = None
    title: str = ""
    event: str = ""
    athlete_a: AthleteInfo = AthleteInfo()
    athlete_b: AthleteInfo = AthleteInfo()
    every_frame: bool = False
    estimator: str = USUAL

    def checked(self) -> Request:
        """Give the request back if its rule set and division exist.

        Raises
        ------
        InputError
            When they do not; before any footage is read.
        """
        rules = RuleSet.load(self.rules)
        if self.division is not None:
            division_of(rules, self.division)
        return self


def division_of(rules: RuleSet, division: Mapping[str, str]) -> Division:
    """The division of a rule set; InputError where it has none of that name."""
    return rules.match_times.division(division["age"], division.get("belt"))


@dataclass(frozen=True, slots=True, eq=False)
class Reading:
    """What the stages behind the pose pass make of a track."""

    track: PairTrack
    probabilities: PositionProbabilities
    holds: tuple[Hold, ...]
    events: tuple[MatchEvent, ...]


def read_track_of(
    footage: Footage, request: Request, cache: Path | None, progress: Progress
) -> PairTrack:
    """Keypoints of both athletes: from the given file, else kept ones, else the pose pass."""
    if request.track_file is not None:
        return _given_track(footage, request.track_file)
    _load_beside("posescore.holds.film.model")
    with opened_estimator(request.estimator, of_video=True) as estimator:
        return pose_pass(footage, estimator, request, cache, progress)


def _load_beside(module: str) -> None:
    """Load what a later stage needs in a thread of its own.

    Loading the position classifier's library takes two seconds, which the pose pass leaves over: it
    keeps one core busy, and decoding a quarter of another.
    """
    threading.Thread(target=importlib.import_module, args=(module,), name="loading").start()


def pose_pass(
    footage: Footage,
    estimator: PairEstimator,
    request: Request,
    cache: Path | None,
    progress: Progress,
) -> PairTrack:
    """Follow both athletes with an estimator, or take the kept result of the same question."""
    every = 1 if request.every_frame else usual_step(footage.clock())
    gi = request.athlete_a.gi_colour or None
    settings = {"every": every, "athlete_a_gi": gi, "version": FOLLOWING_VERSION}
    key = cache_key(footage.sha256, estimator.step, settings)

    begun = None if cache is None else cache / f"{key}.begun"

    def make() -> PairTrack:
        with cached_estimates(estimator, begun) as answers:
            return follow(
                footage,
                answers,
                every=every,
                athlete_a_gi=gi,
                progress=lambda done, total: progress("finding both athletes", done, total),
            )

    track = cached_track(cache, key, make)[0]
    if begun is not None:
        begun.unlink(missing_ok=True)
    return track


def _given_track(footage: Footage, path: Path) -> PairTrack:
    if path.suffix.lower() == ".parquet":
        track = read_track(path)
    else:
        track = track_from_coco(path, clock=footage.clock())
    frames = len(footage.clock())
    if len(track) and track.frame_index.max() >= frames:
        raise InputError(
            f"{path}: names frame {track.frame_index.max()}, but {footage.path} has {frames}; "
            "give the keypoints that belong to this video."
        )
    return track


def read_positions(track: PairTrack, progress: Progress = silent) -> Reading:
    """Everything behind the pose pass: positions, holds with checks, inferred events."""
    from posescore.holds.film.model import TimeModel

    progress("naming positions", 0, 2)
    film = TimeModel.load().read(track)
    progress("naming positions", 1, 2)
    holds, events = find_holds(film)
    progress("naming positions", 2, 2)
    return Reading(track, film.of_frames(track), holds, events)


def analyze(
    request: Request,
    library: Library,
    progress: Progress = silent,
    warn: Callable[[str], None] = lambda sentence: None,
) -> Match:
    """Analyse a video and keep everything in the library.

    ``warn`` is told, in a sentence, of footage that is damaged in part.

    Footage that the library knows (by its hash) gets another analysis of the same match; what
    people said of that match stays.

    Raises
    ------
    InputError, FootageError, StorageError
        One sentence; nothing half-written stays behind.
    """
    request = request.checked()
    footage = open_footage(request.video)
    known = library.match_of_footage(footage.sha256)
    if footage.damage() is not None:
        warn(str(footage.damage()))
    cache = library.poses_of(footage.sha256)
    if len(footage.clock()) < 2:
        raise FootageError(f"{request.video} holds a single frame: give the video of a match.")
    track = read_track_of(footage, request, cache, progress)
    if not np.isfinite(track.keypoints_px).any():
        raise FootageError(
            f"{request.video}: nobody was found in it; give footage that shows both athletes."
        )
    reading = read_positions(track, progress)
    match = known or library.add_match(_info(request, footage))
    try:
        _proxy(footage, match, progress)
        _keep(library, match, request, footage, reading)
    except BaseException:
        if known is None:
            library.delete_match(match.id)
        raise
    return library.match(match.id)


def _keep(
    library: Library, match: Match, request: Request, footage: Footage, reading: Reading
) -> None:
    with tempfile.TemporaryDirectory(dir=match.folder, prefix="track-") as folder:
        path = Path(folder) / "track.parquet"
        write_track(reading.track, path)
        analysis = Analysis(
            clock=footage.clock(),
            holds=reading.holds,
            events=reading.events,
            findings=reading.track.findings,
            provenance=reading.probabilities.provenance,
            rules=request.rules,
            track_path=path,
            probabilities=reading.probabilities,
        )
        library.save_analysis(match.id, analysis)


def _proxy(footage: Footage, match: Match, progress: Progress) -> None:
    if plays_in_browsers(footage.info) or match.proxy_path.is_file():
        return
    make_proxy(
        footage.path,
        match.proxy_path,
        progress=lambda done, total: progress("making a copy for the browser", done, total),
    )


def _info(request: Request, footage: Footage) -> MatchInfo:
    return MatchInfo(
        title=request.title or request.video.stem.replace("_", " "),
        athlete_a=request.athlete_a,
        athlete_b=request.athlete_b,
        event=request.event,
        division=request.division,
        rules=request.rules,
        footage=FootageRecord(
            path=str(request.video.resolve()),
            sha256=footage.sha256,
            size_bytes=request.video.stat().st_size,
            duration_s=footage.clock().end_s,
        ),
    )


def sample_request() -> Request:
    """The shipped sample match, with the invented names of its athletes."""
    told = json.loads(shipped("sample_video", "truth.json").read_text("utf-8"))
    a, b = (
        AthleteInfo(told["athletes"][slot]["name"], told["athletes"][slot]["gi"],
                    told["athletes"][slot]["belt"])
        for slot in "AB"
    )  # fmt: skip
    return Request(
        video=shipped("sample_video", "match.mp4"),
        rules=told["rules"],
        division=told["division"],
        title=f"{a.name} and {b.name}",
        event=told["event_name"],
        athlete_a=a,
        athlete_b=b,
    )


def classify_file(path: Path, smooth: bool = False) -> Iterator[dict[str, Any]]:
    """The position in every picture of a keypoint file, in the file's order.

    Parameters
    ----------
    path
        COCO keypoints (JSON) with up to two people a picture, or a track (Parquet).
    smooth
        Judge the pictures as one film: each gets the position of the hold it lies in. Pictures
        without a time are taken as frames of a film at 30 a second.
    """
    from posescore.position.classify import classify_pictures

    pictures = _pictures_of(path)
    points = np.stack([picture.keypoints_px for picture in pictures])
    confidence = np.stack([picture.keypoint_confidence for picture in pictures])
    names = [_name_of(picture, i) for i, picture in enumerate(pictures)]
    times = [picture.time_s for picture in pictures]
    answers = classify_pictures(points, confidence, names, times)
    if not smooth:
        yield from answers
        return
    time_s = np.array([i / 30 if t is None else t for i, t in enumerate(times)])
    order = np.argsort(time_s, kind="stable")
    if (np.diff(time_s[order]) <= 0).any():
        raise InputError(
            f"{path}: two pictures share a time; --smooth needs the frames of one film."
        )
    end_s = float(time_s[order[-1]]) + 1 / 30
    track = PairTrack(
        points[order], confidence[order], order.astype(np.int64), time_s[order], end_s,
        pictures[0].size_px or (0, 0), Provenance(__version__),
    )  # fmt: skip
    holds = read_positions(track).holds
    for answer, at_s in zip(answers, time_s, strict=True):
        hold = next(hold for hold in reversed(holds) if hold.start_s <= at_s)
        upper = None if hold.upper is None else str(hold.upper)
        yield {**answer, "position": str(hold.position), "upper": upper}


def _pictures_of(path: Path) -> list[PosedPicture]:
    if path.suffix.lower() == ".parquet":
        pictures = pictures_of_track(read_track(path))
    else:
        pictures = read_coco(path)
    if not pictures:
        raise InputError(f"{path}: holds no pictures; give keypoints of at least one.")
    return pictures


def _name_of(picture: PosedPicture, place: int) -> str | int:
    if picture.name is not None and picture.frame_index is None:
        return picture.name
    return place if picture.frame_index is None else picture.frame_index
