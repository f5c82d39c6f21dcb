"""Following exactly two athletes through a video.

The picture is searched as a whole until both athletes are known; then in a box around the pair, and
in the whole picture again where that gives little. Every detection goes to A, to B or to nobody, by
where the athletes were and what their gis look like. What only hindsight shows is put right at the
end (:mod:`posescore.pose.tracking.postprocess`).
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from typing import Final, Protocol

import numpy as np
from numpy.typing import NDArray

import posescore
from posescore.errors import InputError
from posescore.footage.ahead import ahead
from posescore.footage.clock import FrameClock
from posescore.footage.reading import Frame
from posescore.pose.estimators.detection import people_of
from posescore.pose.estimators.estimator import Box, PairEstimator, Picture
from posescore.pose.estimators.prefetch import Prefetcher, prefetching, settled_box, with_next
from posescore.pose.track import Finding, FindingKind, PairTrack
from posescore.pose.tracking.appearance import GI_COLOURS, colour_distance, colour_of, named_colour
from posescore.pose.tracking.cuts import with_cuts
from posescore.pose.tracking.interpolate import interpolated
from posescore.pose.tracking.opening import OPENING_LIMIT_S, OPENING_S, choose_athletes, opening_box
from posescore.pose.tracking.postprocess import (
    correct_sides,
    correct_swaps,
    drop_doubles,
    missing_findings,
)
from posescore.pose.tracking.raw_track import RawTrack
from posescore.pose.tracking.slots import Detection, Slot, apart, assign, pair_box
from posescore.terms import Interval, Progress, Provenance, Step, silent

ANALYSED_FRAMES_PER_S: Final = 15.0
"""Frames a second that are searched unless told otherwise: every second one at 30. Between them
keypoints are interpolated; in 67 ms a grappling limb moves by about its own width."""
BODY_MARGIN: Final = 0.05
"""What bodies are larger than the box of their keypoints; an estimator of the pair adds room of its
own, as it was trained with."""
POOR: Final = 0.35
"""Mean confidence of the less confident athlete below which the estimator may have been told a
wrong place (an unnoticed cut, a swing of the camera): it then searches the whole picture too.
Judgement."""
SEARCH_AGAIN_S: Final = 0.3
"""Seconds between two such searches: what is merely hard to see costs little more."""
SEARCHED_PX: Final = 1920
"""Longer side of the pictures that are searched; keypoints are given in pixels of the footage. A
judgement: the networks look at 256 pixels, and a pair that fills a seventh of the view still has
more. Four times as many pixels of a larger film cost more than all the rest together."""
STAGE: Final = "finding both athletes"
"""What progress calls following."""


class FrameSource(Protocol):
    """What following needs of a video: :class:`posescore.footage.reading.Footage` has it."""

    @property
    def size_px(self) -> tuple[int, int]:
        """``(width, height)`` of the upright picture."""
        ...

    def clock(self) -> FrameClock:
        """The time of every frame."""
        ...

    def frames(
        self, start: int = 0, step: int = 1, longest_px: int | None = None
    ) -> Iterator[Frame]:
        """Frames in order, larger pictures scaled down to ``longest_px``."""
        ...


def usual_step(clock: FrameClock) -> int:
    """Every how many frames are searched by default: as near 15 a second as whole steps allow."""
    return max(1, round(clock.mean_frames_per_s / ANALYSED_FRAMES_PER_S))


def follow(
    footage: FrameSource,
    estimator: PairEstimator,
    *,
    progress: Progress = silent,
    every: int | None = None,
    athlete_a_gi: str | None = None,
) -> PairTrack:
    """Follow both athletes through a video.

    Parameters
    ----------
    estimator
        Finds the pair in pictures; it leaves the referee and bystanders out as far as it can.
    every
        Search every so many frames; 1 searches all. Default: :func:`usual_step`.
    athlete_a_gi
        Name of the colour of A's gi (:data:`posescore.pose.tracking.appearance.GI_COLOURS`).
        Without it A is who stands further left when both are first seen.

    Returns
    -------
    One row for every frame of the footage; NaN where an athlete was not found and the gap is longer
    than :data:`posescore.pose.tracking.postprocess.BRIDGED_GAP_S`.

    Raises
    ------
    InputError
        When ``athlete_a_gi`` is no known colour.
    FootageError
        When the footage cannot be read.
    """
    if athlete_a_gi is not None and named_colour(athlete_a_gi) is None:
        known = ", ".join(GI_COLOURS)
        raise InputError(f"'{athlete_a_gi}' is no gi colour: choose one of {known}.")
    clock = footage.clock()
    step = every or usual_step(clock)
    rows = np.arange(0, len(clock), step)
    track = RawTrack.empty(rows, clock.pts_s[rows])
    coming = with_next(ahead(with_cuts(footage.frames(0, step, SEARCHED_PX))))
    with prefetching(estimator) as both, closing(coming) as frames:
        follower = _Follower(both, athlete_a_gi, track)
        for (frame, is_cut), following in frames:
            following_picture = None if following is None else following[0].picture
            follower.look(frame.index // step, frame, is_cut, following_picture)
            progress(STAGE, min(frame.index + step, len(clock)), len(clock))
        follower.finish()
    settings = {"every": step, "athlete_a_gi": athlete_a_gi, "version": FOLLOWING_VERSION}
    return _finished(follower, clock, footage.size_px, (estimator.step, Step("follow", settings)))


FOLLOWING_VERSION: Final = 9
"""Rises when following changes what it gives for the same footage; part of a cached pose's key."""


def _finished(
    follower: _Follower, clock: FrameClock, size_px: tuple[int, int], steps: tuple[Step, ...]
) -> PairTrack:
    track = follower.track
    findings = [*follower.findings, *drop_doubles(track), *correct_swaps(track)]
    correct_sides(track)
    findings += missing_findings(track)
    points, confidence = interpolated(track, clock.pts_s)
    points *= np.divide(size_px, follower.searched_px, dtype=np.float32)
    return PairTrack(
        keypoints_px=points,
        keypoint_confidence=confidence,
        frame_index=np.arange(len(clock), dtype=np.int64),
        time_s=clock.pts_s,
        end_s=clock.end_s,
        picture_size_px=size_px,
        provenance=Provenance(posescore.__version__, steps),
        findings=tuple(sorted(findings, key=lambda finding: finding.interval)),
    )


class _Follower:
    """The state of following: two slots, and the frames seen before the athletes are known."""

    def __init__(self, both: Prefetcher, athlete_a_gi: str | None, track: RawTrack) -> None:
        self.track = track
        self.findings: list[Finding] = []
        self.searched_px = (1, 1)
        """``(width, height)`` of the pictures that were searched."""
        self._both = both
        self._following: Picture | None = None
        self._searched: Box | None = None
        self._athlete_a_gi = athlete_a_gi
        self._slots = (Slot(), Slot())
        self._opening: list[tuple[int, float, list[Detection]]] | None = []
        self._searched_s = -SEARCH_AGAIN_S

    def look(self, row: int, frame: Frame, is_cut: bool, following: Picture | None) -> None:
        """Search one frame and give the detections to the slots.

        ``following`` is the picture of the frame to be searched next.
        """
        self._following = following
        self.searched_px = frame.picture.shape[1::-1]
        if is_cut:
            self._cut(row, frame.time_s)
        if self._opening is not None:
            box = self._opening_box(frame.time_s)
            self._opening.append((row, frame.time_s, self._detections(frame.picture, box)))
            if self._opening_is_over():
                self._begin()
            return
        box = self._settled(pair_box(self._slots, frame.time_s, BODY_MARGIN))
        detections = self._detections_of_pair(frame, box)
        self._place(row, frame.time_s, detections)

    def finish(self) -> None:
        """Decide with what there is, when the video ended before the opening did."""
        if self._opening is not None:
            self._begin()

    def _opening_box(self, time_s: float) -> Box | None:
        """Where the estimator looks while it is open who the athletes are."""
        return self._settled(opening_box(self._opening or [], time_s, BODY_MARGIN))

    def _settled(self, wanted: Box | None) -> Box | None:
        self._searched = settled_box(self._searched, wanted)
        return self._searched

    def _detections_of_pair(self, frame: Frame, box: Box | None) -> list[Detection]:
        """Detections in the box; where they are poor, those of the whole picture if better."""
        detections = self._detections(frame.picture, box)
        asked_s = frame.time_s - self._searched_s
        if box is None or _lower_score(detections) >= POOR or asked_s < SEARCH_AGAIN_S:
            return detections
        self._searched_s = frame.time_s
        return max(detections, self._detections(frame.picture, None), key=_lower_score)

    def _detections(self, picture: Picture, box: Box | None) -> list[Detection]:
        people = people_of(self._both.estimate(picture, box, self._following))
        return [Detection(person, colour_of(picture, person)) for person in people]

    def _place(self, row: int, time_s: float, detections: list[Detection]) -> None:
        """Give the detections of a frame to the slots they fit."""
        chosen = assign(self._slots, detections, time_s)
        both = [detections[i] for i in chosen if i is not None]
        learn = len(both) == 2 and apart(both[0].person, both[1].person)
        for number, found in enumerate(chosen):
            if found is not None:
                self._slots[number].place(detections[found], time_s, learn)
                self.track.put(row, number, detections[found])

    def _cut(self, row: int, time_s: float) -> None:
        self.track.cut[row] = True
        if self._opening:
            self._begin()
        for slot in self._slots:
            slot.forget()
        instant = Interval(time_s, time_s)
        self.findings.append(Finding.named(FindingKind.CUT, instant, 0.8, "finding_cut"))

    def _opening_is_over(self) -> bool:
        opening = self._opening or []
        now_s = opening[-1][1]
        first_s = next((time_s for _, time_s, detections in opening if len(detections) > 1), None)
        if first_s is not None and now_s - first_s >= OPENING_S:
            return True
        return now_s - opening[0][1] >= OPENING_LIMIT_S

    def _begin(self) -> None:
        """Choose the athletes, and go from the best detection of both backward and forward."""
        opening, self._opening = self._opening or [], None
        chosen = choose_athletes(opening)
        if chosen is None:
            return
        start, pair = chosen
        start_s = float(self.track.time_s[start])
        ordered = self._in_order(pair)
        for going_on in (False, True):
            for slot, detection in zip(self._slots, ordered, strict=False):
                slot.forget()
                slot.place(detection, start_s, learn=not going_on)
            looks = [look for look in opening if (look[0] >= start) == going_on]
            for row, time_s, detections in looks if going_on else reversed(looks):
                self._place(row, time_s, detections)

    def _in_order(self, pair: tuple[Detection, ...]) -> list[Detection]:
        """A first: by the colour that was told, else as they are."""
        named = named_colour(self._athlete_a_gi) if self._athlete_a_gi else None
        if named is not None and all(detection.colour is not None for detection in pair):
            return sorted(pair, key=lambda s: colour_distance(_known(s.colour), named))
        return list(pair)


def _lower_score(detections: list[Detection]) -> float:
    """Score of the less confident of two; 0 where two were not found."""
    return min(detection.person.score for detection in detections) if len(detections) > 1 else 0.0


def _known(colour: NDArray[np.float64] | None) -> NDArray[np.float64]:
    assert colour is not None
    return colour
