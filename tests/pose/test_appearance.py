"""The gi's colour is looked up where the athlete is seen, not where he is guessed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from posescore.pose.estimators.detection import Person
from posescore.pose.tracking.appearance import colour_distance, colour_of, named_colour
from posescore.pose.tracking.slots import Detection, Slot, assign
from posescore.terms import KEYPOINT_INDEX, N_KEYPOINTS
from tests.pose.scenes import STANDING

_LOWER = [KEYPOINT_INDEX[f"{side}_{joint}"] for side in ("left", "right")
          for joint in ("hip", "knee")]  # fmt: skip


def person(at: tuple[float, float] = (320.0, 180.0), sure: float = 0.9) -> Person:
    points = (STANDING + np.array(at)).astype(np.float32)
    return Person(points, np.full(N_KEYPOINTS, sure, np.float32))


def test_what_is_not_trusted_is_not_looked_at() -> None:
    picture = np.full((360, 640, 3), (35, 65, 145), np.uint8)
    blue = named_colour("blue")
    assert blue is not None
    seen = colour_of(picture, person())
    assert seen is not None
    assert colour_distance(seen, blue) < 1
    assert colour_of(picture, person(sure=0.2)) is None


def test_hidden_legs_do_not_lend_the_colour_of_who_hides_them() -> None:
    picture = np.full((360, 640, 3), 225, np.uint8)
    picture[170:] = (35, 65, 145)
    one = person()
    confidence = one.keypoint_confidence.copy()
    confidence[_LOWER] = 0.1
    hidden = colour_of(picture, replace(one, keypoint_confidence=confidence))
    white = named_colour("white")
    assert hidden is not None
    assert white is not None
    assert colour_distance(hidden, white) < 5


def test_the_second_of_a_pair_is_not_left_out_for_looking_like_the_first() -> None:
    """Somebody behind the opponent shows the opponent's gi: of a pair there is nobody else."""
    white, blue = named_colour("white"), named_colour("blue")
    slots = (Slot(), Slot())
    slots[0].place(Detection(person((250, 180)), white), 0.0, learn=True)
    slots[1].place(Detection(person((330, 180)), blue), 0.0, learn=True)
    slots[1].place(Detection(person((330, 180)), blue), 0.9, learn=False)
    detections = [Detection(person((332, 180)), blue), Detection(person((262, 180)), blue)]
    assert assign(slots, detections, 1.0) == (1, 0)
