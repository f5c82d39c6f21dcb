"""From pictures to positions: how well keypoints that the pose pass really gave are named.

The pictures are drawn ones of named poses, read by the pair finder and network
(``posescore.lab.train.keypoints.pass_errors``). Each is judged by those networks that never
learned from its entry; told last is what the pair network did not learn from either.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final
from zipfile import BadZipFile

import numpy as np

from posescore.errors import InputError
from posescore.evaluation.poses3d.pose_set import PoseSet, load_pose_set, nearest_distance_m
from posescore.evaluation.position import Judged, summary
from posescore.position.classifier import PositionClassifier

_FIELDS = ("found_px", "confidence", "frame", "state", "entry", "trained")


def read_pass(paths: Sequence[Path]) -> dict[str, Any]:
    """Arrays of one file or more that the pose pass's errors were written to.

    Raises
    ------
    InputError
        When a file is absent or holds something else.
    """
    parts: dict[str, list[Any]] = {name: [] for name in _FIELDS}
    for path in paths:
        try:
            with path.open("rb") as file, np.load(file, allow_pickle=False) as data:
                for name in _FIELDS:
                    parts[name].append(data[name])
        except (OSError, KeyError, ValueError, EOFError, BadZipFile) as error:
            raise InputError(
                f"{path} does not hold what a pose pass gave: take a pass_errors.npz."
            ) from error
    return {name: np.concatenate(values) for name, values in parts.items()}


def judge_pass(
    classifier: PositionClassifier,
    pose_set: PoseSet,
    given: dict[str, Any],
    *,
    unread: bool = False,
    at_most: int = 8000,
) -> Judged:
    """Pictures of named frames of the set, judged by networks ignorant of their entries.

    ``unread`` leaves out entries that the pair network learned from. At most ``at_most`` pictures
    are judged, the same ones every time.
    """
    used = given["frame"] < len(pose_set)
    if unread:
        used &= ~given["trained"]
    rows = np.random.default_rng(0).permutation(np.flatnonzero(used))[:at_most]
    named = pose_set.labelled
    probability = np.empty((len(rows), len(classifier.nobody)))
    distance = np.empty(len(rows))
    for index, entries in enumerate(classifier.held_back_entries):
        here = np.isin(given["entry"][rows], entries)
        keypoints, sure = (
            given[name][rows[here]].astype(np.float32) for name in ("found_px", "confidence")
        )
        probability[here] = classifier.of_keypoints(
            keypoints, sure, ignorant_of_fold=index, of_pass=True
        )
        learned = named.joints_m[~np.isin(named.entry, entries)]
        frames, back = np.unique(given["frame"][rows[here]], return_inverse=True)
        distance[here] = nearest_distance_m(pose_set.joints_m[frames], learned)[back]
    return Judged(
        given["state"][rows].astype(np.int64),
        probability,
        given["entry"][rows],
        distance,
        np.zeros(len(rows), np.int64),
    )


def evaluate_pass(
    paths: Sequence[Path],
    pose_set_path: Path | str | None = None,
    classifier: PositionClassifier | None = None,
) -> dict[str, Any]:
    """Figures of ``posescore evaluate position --real``, as those of the plain evaluation."""
    judged_by = classifier or PositionClassifier.load()
    pose_set, given = load_pose_set(pose_set_path), read_pass(paths)
    return {
        **summary(judge_pass(judged_by, pose_set, given)),
        "model_sha256": judged_by.sha256,
        "conditions": [],
        "stricter": {STRICTER: summary(judge_pass(judged_by, pose_set, given, unread=True))},
    }


STRICTER: Final = "Only entries that the pair network did not learn from either"
