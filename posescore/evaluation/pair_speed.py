"""How long finding both athletes takes, beside MediaPipe.

``python -m posescore.evaluation.pair_speed``.

Milliseconds of processor time of this process (not of the clock, so a busy machine tells much the
same story), each network on one thread. The whole pass is the first seconds of the sample match,
from the file to the followed track: decoding, searching and following together.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from typing import Final

import numpy as np

from posescore.footage.clock import FrameClock
from posescore.footage.opencv import cv2
from posescore.footage.reading import Footage, Frame
from posescore.pose.estimators.estimator import PairEstimator, Picture
from posescore.pose.estimators.mediapipe_estimator import MediaPipeEstimator
from posescore.pose.estimators.pair_finder import PairFinder
from posescore.pose.estimators.pair_network import PairNetworkEstimator
from posescore.pose.tracking.follow import follow
from posescore.pose.tracking.opening import OPENING_S
from posescore.resources import shipped

EXCERPT_S: Final = 20.0
ASKED_MS: Final = 45.0
"""What a frame of the whole pass may take on one thread."""


def processor_ms(call: Callable[[], object], repeats: int = 30) -> float:
    """Median processor time of a call after two to warm up."""
    spent = []
    for _ in range(repeats + 2):
        began = time.process_time()
        call()
        spent.append((time.process_time() - began) * 1000)
    return float(np.median(spent[2:]))


@dataclass(frozen=True, slots=True)
class Excerpt:
    """The first seconds of a video, for following."""

    footage: Footage
    seconds: float

    @property
    def size_px(self) -> tuple[int, int]:
        """``(width, height)`` of the upright picture."""
        return self.footage.size_px

    def clock(self) -> FrameClock:
        """The time of the excerpt's frames."""
        whole = self.footage.clock()
        kept = whole.pts_s[whole.pts_s < self.seconds]
        return FrameClock(kept, min(whole.end_s, max(self.seconds, float(kept[-1]) + 1e-3)))

    def frames(
        self, start: int = 0, step: int = 1, longest_px: int | None = None
    ) -> Iterator[Frame]:
        """Frames in order."""
        for frame in self.footage.frames(start, step, longest_px):
            if frame.time_s >= self.seconds:
                return
            yield frame


def whole_pass_ms(seconds: float = EXCERPT_S) -> tuple[float, float]:
    """Processor time a searched frame takes in the opening, and behind it."""
    estimator = PairNetworkEstimator(threads=1, alternative_crops=False)
    (opening_ms, in_opening), (whole_ms, in_whole) = (
        _followed(estimator, until_s) for until_s in (OPENING_S, seconds)
    )
    estimator.close()
    return opening_ms / in_opening, (whole_ms - opening_ms) / (in_whole - in_opening)


def _followed(estimator: PairEstimator, until_s: float) -> tuple[float, int]:
    """Processor milliseconds of following an excerpt, and the number of frames searched."""
    searched: list[int] = []
    excerpt = Excerpt(Footage(shipped("sample_video", "match.mp4")), until_s)
    began = time.process_time()
    follow(excerpt, estimator, progress=lambda stage, done, total: searched.append(done))
    return (time.process_time() - began) * 1000, len(searched)


def mediapipe_ms(seconds: float = 12.0) -> tuple[float, float]:
    """Processor time of MediaPipe's detector and of one call of its landmark network.

    From whole pictures of the sample match: what one costs is a line over the people found in it.
    """
    mediapipe = MediaPipeEstimator()
    excerpt = Excerpt(Footage(shipped("sample_video", "match.mp4")), seconds)
    pictures = [_picture(*excerpt.size_px), *(frame.picture for frame in excerpt.frames(step=24))]
    people = [len(mediapipe.people(picture)) for picture in pictures]
    spent = [processor_ms(partial(mediapipe.people, picture), 8) for picture in pictures]
    mediapipe.close()
    landmarks, detector = np.polyfit(people, spent, 1)
    return float(detector), float(landmarks)


def _picture(width_px: int = 960, height_px: int = 540) -> Picture:
    noise = np.random.default_rng(0).integers(0, 256, (height_px, width_px, 3), np.uint8)
    return np.asarray(cv2.GaussianBlur(noise, (0, 0), 4), np.uint8)


def main() -> None:
    """Print the table."""
    picture = _picture()
    alone = Footage(shipped("sample_video", "match.mp4")).frame(600).picture
    network, finder = PairNetworkEstimator(threads=1), PairFinder(threads=1)
    found_ms = processor_ms(lambda: finder.find(picture))
    read_ms = processor_ms(lambda: network.read(picture, ((480.0, 270.0), 400.0)))
    alone_ms = processor_ms(lambda: network.estimate(alone), 10)
    opening_ms, followed_ms = whole_pass_ms()
    detector_ms, landmarks_ms = mediapipe_ms()
    reference_ms = detector_ms + 2 * landmarks_ms
    print(f"pair finder, whole picture                {found_ms:6.1f} ms")
    print(f"pair network, one square                  {read_ms:6.1f} ms")
    print(f"a picture that stands alone               {alone_ms:6.1f} ms")
    print(
        f"whole pass, a searched frame              {followed_ms:6.1f} ms  (limit {ASKED_MS:.0f})"
    )
    print(f"whole pass, in the first {OPENING_S:.0f} s              {opening_ms:6.1f} ms")
    print(f"MediaPipe, one detector call              {detector_ms:6.1f} ms")
    print(f"MediaPipe, one landmark call              {landmarks_ms:6.1f} ms")
    print(f"MediaPipe, one detector, two landmarks    {reference_ms:6.1f} ms")
    print(
        f"whole pass over that                      {followed_ms / reference_ms:6.2f} x  (limit 1)"
    )


if __name__ == "__main__":
    main()
