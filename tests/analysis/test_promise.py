"""The shipped networks on twelve seconds of the sample match: what the program promises at all.

Rendered and invented footage, known while the program was made: a check that the parts fit together
as shipped, no measure of how good they are.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from posescore.analysis.pipeline import analyse
from posescore.evaluation.joining import repeated
from posescore.footage.reading import Footage
from posescore.pose.coco import track_from_coco
from posescore.pose.oks import area_px2, oks
from posescore.resources import shipped
from posescore.scoring.engine import propose
from posescore.scoring.rules import RuleSet
from posescore.terms import N_COCO

EXCERPT_S = 12.0


def test_both_athletes_are_found_in_their_slots_and_the_takedown_is_proposed(
    tmp_path: Path,
) -> None:
    video = tmp_path / "excerpt.mp4"
    repeated(shipped("sample_video", "match.mp4"), video, EXCERPT_S)
    analysis = analyse(Footage(video))
    track = analysis.track
    truth = track_from_coco(shipped("sample_video", "keypoints.json"))
    fits = np.array(
        [
            [
                [_fit(truth.keypoints_px[i, s], track.keypoints_px[i, t]) for t in (0, 1)]
                for s in (0, 1)
            ]
            for i in range(0, len(track), 6)
        ]
    )  # (n, true slot, found slot)
    own, other = fits[:, (0, 1), (0, 1)], fits[:, (0, 1), (1, 0)]
    assert (own >= 0.5).mean() >= 0.9, "athletes found"
    assert (own.sum(axis=1) > other.sum(axis=1)).mean() >= 0.98, "A is A and B is B"
    ruling = propose(analysis.holds, analysis.events, RuleSet.load("sport-jiu-jitsu"))
    # Article 4.1: a takedown with top position for three seconds, two points.
    awards = [(p.athlete, p.kind, p.points) for p in ruling.proposals if p.points]
    assert awards == [("A", "takedown", 2)]


def _fit(true_px: np.ndarray, found_px: np.ndarray) -> float:
    area = area_px2(true_px[:N_COCO])
    return float(np.nan_to_num(oks(true_px[:N_COCO], found_px[:N_COCO], area)))
