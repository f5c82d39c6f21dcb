"""How well the classifier names positions that it never learned from.

Every named frame of the open pose set is judged by those networks of the ensemble that never
learned from its entry, through cameras of another draw than training's, as single pictures of
17 keypoints with 2 % noise and 10 % outliers. Entries share end frames, so a second table leaves
out every frame within 5 cm of a named frame that its judges did learn from.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from sklearn.dummy import DummyClassifier
from sklearn.metrics import confusion_matrix, f1_score, precision_recall_fscore_support

from posescore.evaluation.poses3d.body_keypoints import body_keypoints_m
from posescore.evaluation.poses3d.cameras import random_cameras
from posescore.evaluation.poses3d.estimator_errors import spoil_evenly
from posescore.evaluation.poses3d.pose_set import (
    DISTANCE_BINS_M,
    PURGE_DISTANCE_M,
    PoseSet,
    load_pose_set,
    nearest_distance_m,
)
from posescore.position.classifier import PositionClassifier
from posescore.position.classify import GROUPS
from posescore.terms import N_COCO, STATES, Athlete

NAMES: Final = tuple(GROUPS)
N_TESTED: Final = len(NAMES) - 1
"""Scramble has no test frames; as an answer it counts as wrong."""
GROUP_OF_STATE: Final = np.array(
    [next(i for i, g in enumerate(GROUPS.values()) if s.position in g) for s in STATES]
)
_UPPER_OF_STATE: Final = np.array([-1 if s.upper is None else s.upper.slot for s in STATES])


@dataclass(frozen=True, slots=True, eq=False)
class Judged:
    """Pictures with the truth and the classifier's answer.

    Parameters
    ----------
    truth
        ``(n,)`` states.
    probability
        ``(n, n_states)``.
    entry, distance_m
        ``(n,)`` entry of the frame, and how far it is from what its judges learned from.
    view
        ``(n,)`` number of the camera among those that saw the frame.
    """

    truth: NDArray[np.int64]
    probability: NDArray[np.float64]
    entry: NDArray[np.int64]
    distance_m: NDArray[np.float64]
    view: NDArray[np.int64]

    @property
    def group(self) -> NDArray[np.int64]:
        """Likeliest group of each picture, as ``posescore classify`` chooses it."""
        of_group = [self.probability[:, g == GROUP_OF_STATE].sum(1) for g in range(len(NAMES))]
        return np.asarray(np.stack(of_group, 1).argmax(1), np.int64)

    @property
    def true_group(self) -> NDArray[np.int64]:
        """Group of the truth."""
        return np.asarray(GROUP_OF_STATE[self.truth], np.int64)


def spoiled_keypoints(
    joints_m: NDArray[np.float32],
    rng: np.random.Generator,
    noise: float = 0.02,
    outliers: float = 0.10,
    of_athlete: bool = False,
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Test pictures: 17 keypoints through a random camera, spoiled evenly; confidence is 1.

    ``noise``, ``outliers`` and ``of_athlete`` are those of
    :func:`~posescore.evaluation.poses3d.estimator_errors.spoil_evenly`.
    """
    keypoints_m = body_keypoints_m(joints_m, rng)
    keypoints_px, _ = random_cameras(keypoints_m, rng).project(keypoints_m)
    true_px = keypoints_px[:, :, :N_COCO]
    given = spoil_evenly(true_px, rng, noise, outliers, of_athlete=of_athlete)
    return given, np.ones(true_px.shape[:3], np.float32)


def judge(
    classifier: PositionClassifier,
    pose_set: PoseSet,
    *,
    views: int = 20,
    seed: int = 20_000,
    noise: float = 0.02,
    outliers: float = 0.10,
    of_athlete: bool = False,
    purge_m: float = 0.0,
) -> Judged:
    """Every named frame, ``views`` cameras each, judged by networks ignorant of its entry.

    With ``purge_m`` only frames at least as far from every frame that those learned from.
    """
    named = pose_set.labelled
    rng = np.random.default_rng(seed)
    truth, given, entry, distance, view = [], [], [], [], []
    for index, held_back in enumerate(classifier.held_back_entries):
        held = np.isin(named.entry, held_back)
        apart = nearest_distance_m(named.joints_m[held], named.joints_m[~held])
        far = apart >= purge_m
        test = named.take(held).take(far)
        for number in range(views):
            pictures = spoiled_keypoints(test.joints_m, rng, noise, outliers, of_athlete)
            given.append(classifier.of_keypoints(*pictures, ignorant_of_fold=index))
            truth.append(test.state)
            entry.append(test.entry)
            distance.append(apart[far])
            view.append(np.full(len(test), number))
    return Judged(
        np.concatenate(truth),
        np.concatenate(given),
        np.concatenate(entry),
        np.concatenate(distance),
        np.concatenate(view),
    )


def macro_f1(judged: Judged, rows: NDArray[np.int64] | None = None) -> float:
    """Mean F1 over the eight tested groups."""
    chosen = np.arange(len(judged.truth)) if rows is None else rows
    return float(
        f1_score(
            judged.true_group[chosen],
            judged.group[chosen],
            labels=range(N_TESTED),
            average="macro",
            zero_division=0,
        )
    )


def interval_over_entries(judged: Judged, rounds: int = 200, seed: int = 0) -> tuple[float, float]:
    """95 % interval of macro-F1, entries drawn anew with replacement."""
    rng = np.random.default_rng(seed)
    names, first = np.unique(judged.entry, return_inverse=True)
    order = np.argsort(first, kind="stable")
    ends = np.searchsorted(first[order], np.arange(len(names) + 1))
    parts = [order[ends[i] : ends[i + 1]] for i in range(len(names))]
    values = []
    for _ in range(rounds):
        drawn = rng.integers(len(names), size=len(names))
        values.append(macro_f1(judged, np.concatenate([parts[i] for i in drawn])))
    low, high = np.quantile(values, (0.025, 0.975))
    return float(low), float(high)


def spread_over_views(judged: Judged) -> float | None:
    """Standard deviation of macro-F1 of one camera a frame; None where there is but one."""
    values = [macro_f1(judged, np.flatnonzero(judged.view == v)) for v in np.unique(judged.view)]
    return float(np.std(values, ddof=1)) if len(values) > 1 else None


def calibration_error(judged: Judged, bins: int = 15) -> float:
    """Expected calibration error of the likeliest state, in equal steps of its probability."""
    top = judged.probability.max(1)
    right = judged.probability.argmax(1) == judged.truth
    slot = np.minimum((top * bins).astype(int), bins - 1)
    total = sum(
        abs(float(top[slot == b].mean()) - float(right[slot == b].mean())) * int((slot == b).sum())
        for b in np.unique(slot)
    )
    return total / len(top)


def upper_accuracy(judged: Judged) -> float:
    """How often the upper athlete is the right one, where there is one and the group is right."""
    has = (_UPPER_OF_STATE[judged.truth] >= 0) & (judged.group == judged.true_group)
    share = judged.probability.copy()
    share[GROUP_OF_STATE[None, :] != judged.true_group[:, None]] = 0
    a = share[:, Athlete.A.slot == _UPPER_OF_STATE].sum(1)
    b = share[:, Athlete.B.slot == _UPPER_OF_STATE].sum(1)
    right = np.where(a >= b, 0, 1) == _UPPER_OF_STATE[judged.truth]
    return float(right[has].mean())


def _dummy_f1(judged: Judged, seed: int = 0) -> float:
    """Macro-F1 of guessing groups by their frequency."""
    rows = np.zeros((len(judged.truth), 1))
    guess = DummyClassifier(strategy="stratified", random_state=seed)
    guess.fit(rows, judged.true_group)
    return float(
        f1_score(
            judged.true_group,
            guess.predict(rows),
            labels=range(N_TESTED),
            average="macro",
            zero_division=0,
        )
    )


def _by_distance(judged: Judged) -> list[dict[str, Any]]:
    bins = []
    for low, high in pairwise((0.0, *DISTANCE_BINS_M)):
        inside = (judged.distance_m >= low) & (judged.distance_m < high)
        if inside.any():
            right = judged.group[inside] == judged.true_group[inside]
            bins.append(
                {
                    "from_m": low,
                    "to_m": high if np.isfinite(high) else None,
                    "pictures": int(inside.sum()),
                    "accuracy": float(right.mean()),
                }
            )
    return bins


def summary(judged: Judged) -> dict[str, Any]:
    """All figures, plain data."""
    precision, recall, f1, support = precision_recall_fscore_support(
        judged.true_group, judged.group, labels=range(N_TESTED), zero_division=0
    )
    return {
        "pictures": len(judged.truth),
        "entries": len(np.unique(judged.entry)),
        "macro_f1": macro_f1(judged),
        "macro_f1_interval": interval_over_entries(judged),
        "macro_f1_spread": spread_over_views(judged),
        "accuracy": float((judged.group == judged.true_group).mean()),
        "upper_accuracy": upper_accuracy(judged),
        "calibration_error": calibration_error(judged),
        "dummy_macro_f1": _dummy_f1(judged),
        "groups": [
            {
                "group": NAMES[g],
                "precision": float(precision[g]),
                "recall": float(recall[g]),
                "f1": float(f1[g]),
                "pictures": int(support[g]),
                "entries": len(np.unique(judged.entry[judged.true_group == g])),
            }
            for g in range(N_TESTED)
        ],
        "distance_bins": _by_distance(judged),
        "confusion": confusion_matrix(
            judged.true_group, judged.group, labels=range(len(NAMES))
        ).tolist(),
    }


def table(figures: dict[str, Any]) -> list[str]:
    """The figures as lines of a Markdown table and sentences, as the card shows them."""
    lines = _groups_and_sums(figures)
    lines += [
        f"- {name}: macro-F1 {part['macro_f1']:.3f}, accuracy {part['accuracy']:.3f}"
        for name, part in figures.get("besides", {}).items()
    ]
    for part in figures["distance_bins"]:
        to = f"{100 * part['to_m']:.0f} cm" if part["to_m"] else "farther"
        lines.append(
            f"- {100 * part['from_m']:.0f} cm to {to} from training: "
            f"accuracy {part['accuracy']:.3f} ({part['pictures']} pictures)"
        )
    for name, part in figures.get("stricter", {}).items():
        lines += ["", f"{name}:", "", *_groups_and_sums(part)]
    return lines


def _groups_and_sums(figures: dict[str, Any]) -> list[str]:
    low, high = figures["macro_f1_interval"]
    lines = [
        "| group | precision | recall | F1 | pictures | entries |",
        "|---|---|---|---|---|---|",
    ]
    lines += [
        f"| {g['group']} | {g['precision']:.3f} | {g['recall']:.3f} | {g['f1']:.3f} "
        f"| {g['pictures']} | {g['entries']} |"
        for g in figures["groups"]
    ]
    lines += [
        "",
        f"- macro-F1 {figures['macro_f1']:.3f} (95 % over entries {low:.3f} to {high:.3f}), "
        f"accuracy {figures['accuracy']:.3f}, {figures['pictures']} pictures of "
        f"{figures['entries']} entries; guessing by frequency {figures['dummy_macro_f1']:.3f}",
        f"- right athlete as upper {figures['upper_accuracy']:.3f} where the group is right",
        f"- expected calibration error {figures['calibration_error']:.3f}",
    ]
    if figures["macro_f1_spread"] is not None:
        lines.append(
            f"- macro-F1 of one camera a frame: standard deviation {figures['macro_f1_spread']:.3f}"
        )
    return lines


CONDITIONS: Final = ((0.02, 0.10), (0.0, 0.0), (0.02, 0.0), (0.04, 0.10), (0.02, 0.20))
"""Noise and share of outliers of the headline, then of the others that a card shows."""


def evaluate(
    pose_set_path: Path | str | None = None,
    classifier: PositionClassifier | None = None,
    *,
    views: int = 20,
    conditions: Sequence[tuple[float, float]] = ((0.02, 0.10),),
) -> dict[str, Any]:
    """Figures of ``posescore evaluate position``.

    ``conditions`` are pairs of noise and share of outliers; the first is the headline, the others
    are added under ``"conditions"``. Under ``"stricter"`` are the headline's figures without frames
    within 5 cm of training, and under ``"besides"`` its macro-F1 with noise measured against each
    athlete's size (the square root of the area of the box) instead of the pair's box.
    """
    judged_by = classifier or PositionClassifier.load()
    pose_set = load_pose_set(pose_set_path)

    def judged(noise: float, outliers: float, **other: Any) -> Judged:
        return judge(judged_by, pose_set, views=views, noise=noise, outliers=outliers, **other)

    results = [
        {"noise": noise, "outliers": outliers, **summary(judged(noise, outliers))}
        for noise, outliers in conditions
    ]
    own = judged(*conditions[0], of_athlete=True)
    return {
        **results[0],
        "model_sha256": judged_by.sha256,
        "conditions": results[1:],
        "besides": {"noise as a share of each athlete's own size": besides(own)},
        "stricter": {
            STRICTER: summary(judged(*conditions[0], purge_m=PURGE_DISTANCE_M)),
        },
    }


STRICTER: Final = "Only frames at least 5 cm from training"


def besides(judged: Judged) -> dict[str, float]:
    """What is told of a second measurement in one line."""
    accuracy = float((judged.group == judged.true_group).mean())
    return {"macro_f1": macro_f1(judged), "accuracy": accuracy}
