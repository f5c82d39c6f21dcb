"""What hangs on keypoints that nobody saw well is not called sure."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from posescore.holds.criteria.checks import check_holds
from posescore.holds.hold import Check, CheckName, Hold
from posescore.holds.windows import LEAST_SURE
from posescore.pose.coco import track_from_coco
from posescore.pose.track import PairTrack
from posescore.resources import shipped
from posescore.terms import KEYPOINT_INDEX, Athlete, Position

LEGS = [
    KEYPOINT_INDEX[f"{side}_{joint}"] for side in ("left", "right") for joint in ("knee", "ankle")
]
HOLD = Hold(31.0, 35.0, Position.KNEE_ON_BELLY, Athlete.A)


@pytest.fixture(scope="module")
def track() -> PairTrack:
    return track_from_coco(Path(shipped("sample_video", "keypoints.json")))


def other_knee(track: PairTrack) -> Check:
    (part,) = check_holds((HOLD,), track)
    check = part.check(CheckName.OTHER_KNEE_DOWN)
    assert check is not None
    return check


def test_legs_that_are_not_trusted_leave_what_is_usual(track: PairTrack) -> None:
    confidence = track.keypoint_confidence.copy()
    confidence[:, Athlete.A.slot, LEGS] = LEAST_SURE / 2
    seen, unsure = other_knee(track), other_knee(replace(track, keypoint_confidence=confidence))
    assert seen.value is False
    assert seen.probability > 0.9
    assert unsure.probability < 0.7


def test_untrusted_counts_as_missing(track: PairTrack) -> None:
    confidence, points = track.keypoint_confidence.copy(), track.keypoints_px.copy()
    confidence[:, Athlete.A.slot, LEGS] = 0.0
    points[:, Athlete.A.slot, LEGS] = np.nan
    untrusted = other_knee(replace(track, keypoint_confidence=confidence))
    missing = other_knee(replace(track, keypoints_px=points))
    assert untrusted == missing
