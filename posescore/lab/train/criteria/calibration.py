"""Fitting and measuring the judges of criteria on figures; ``refit`` is the command.

Figures with known truth (:mod:`posescore.lab.train.criteria.figures`) are seen through random
cameras with small errors; beside them stands what the shipped pose pass really says of named poses
(:mod:`posescore.lab.train.criteria.pass_examples`). One seed of figures is fitted on, another
measured on, and so with the entries of the poses.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.evaluation.poses3d.cameras import random_cameras
from posescore.evaluation.poses3d.estimator_errors import (
    ErrorRates,
    estimate_badly,
    hidden,
    pair_size_px,
)
from posescore.holds.criteria.judge import Judge
from posescore.holds.criteria.questions import QUESTIONS, SIDES, Question
from posescore.lab.train.criteria.figures import SCENES, Scene
from posescore.lab.train.criteria.pass_examples import AllExamples
from posescore.terms import Floats

FIT_SEED: Final = 11
MEASURE_SEED: Final = 12
N_FIGURES: Final = 8_000
ELEVATION_DEG: Final = (-2.0, 45.0)
"""From the mat's edge to the stand. Straight down nothing of a height can be seen."""
RATES: Final = ErrorRates(
    noise=(0.002, 0.015), outliers=(0.0, 0.04), missing=(0.0, 0.12), body_flip=0.01,
    limb_flip=0.01, athlete_missing=0.0, no_feet=0.3,
)  # fmt: skip
"""What is left of an estimator's errors in the median of a fifth of a second."""
_PAIR_SIZE_M: Final = 1.8


def seen(keypoints_m: Floats, random: np.random.Generator) -> Floats:
    """Keypoints ``(n, 2, 21, 2)`` of pairs ``(n, 2, 21, 3)`` as an estimator gives them."""
    points = keypoints_m.astype(np.float32)
    cameras = random_cameras(points, random, elevation_deg=ELEVATION_DEG)
    px, depth_m = cameras.project(points)
    px_per_m = (pair_size_px(px) / _PAIR_SIZE_M).astype(np.float32)
    guess, _ = estimate_badly(px, hidden(px, depth_m, px_per_m), random, RATES)
    return guess.astype(np.float64)


def scene_seen(name: str, seed: int, n: int = N_FIGURES) -> tuple[Floats, Scene]:
    """Figures of one scene through random cameras, and the scene."""
    random = np.random.default_rng(seed)
    scene = SCENES[name](random, n)
    return seen(scene.keypoints_m, random), scene


def sample(question: Question, px: Floats, scene: Scene) -> tuple[Floats, NDArray[np.bool_]]:
    """Features and answers of a question, both sides of a sided one below each other."""
    truth = scene.truth[question.name]
    if not question.sided:
        return question.ask(px), truth
    features = np.concatenate([question.ask(px, side) for side in SIDES])
    return features, np.concatenate([truth[:, 0], truth[:, 1]])


def fit(examples: AllExamples) -> dict[str, Judge]:
    """All judges, fitted on figures and on what the pose pass says of poses."""
    judges = {}
    for name in SCENES:
        px, scene = scene_seen(name, FIT_SEED)
        for question in QUESTIONS:
            if question.scene == name:
                features, answer = sample(question, px, scene)
                real = passed(question, examples, for_test=False)
                if real is not None:
                    features = np.concatenate([features, real[0]])
                    answer = np.concatenate([answer, real[1]])
                judges[question.name] = Judge.fitted(features, answer)
    return judges


def passed(
    question: Question, examples: AllExamples, *, for_test: bool
) -> tuple[Floats, NDArray[np.bool_]] | None:
    """Features and answers of what the pose pass says; None where only one answer is at hand."""
    parts = [
        (question.ask(each.pair_px[rows], side), each.answer[rows])
        for side in SIDES
        if (each := examples.get((question.name, side))) is not None
        for rows in (each.for_test == for_test,)
    ]
    if not parts:
        return None
    answer = np.concatenate([part[1] for part in parts])
    if len(np.unique(answer)) < 2:
        return None
    return np.concatenate([part[0] for part in parts]), answer


def accuracy(log_odds: Floats, answer: NDArray[np.bool_]) -> dict[str, float]:
    """Share right, share that is at least .8 sure and how often that is right, calibration error.

    With both answers weighing the same. The calibration error is the mean gap between how sure
    and how often right, over ten equal bins of sureness, weighed by their size.
    """
    share = answer.mean()
    weight = np.where(answer, 0.5 / share, 0.5 / (1.0 - share))
    weight /= weight.sum()
    likely = 1.0 / (1.0 + np.exp(-log_odds))
    right = (likely > 0.5) == answer
    sure = np.maximum(likely, 1.0 - likely)
    ten = np.minimum((10 * likely).astype(int), 9)
    gaps = [abs(np.dot(weight[ten == b], (likely - answer)[ten == b])) for b in range(10)]
    clear = sure >= 0.8
    return {
        "right": float(weight @ right),
        "clear": float(weight @ clear),
        "n": float(len(answer)),
        "clear_right": float(weight[clear] @ right[clear] / max(weight[clear].sum(), 1e-9)),
        "calibration_error": float(sum(gaps)),
    }


def measure(judges: dict[str, Judge], seed: int = MEASURE_SEED) -> dict[str, dict[str, float]]:
    """Accuracy of every judge on figures it was not fitted on."""
    rows = {}
    for name in SCENES:
        px, scene = scene_seen(name, seed)
        for question in QUESTIONS:
            if question.scene == name:
                features, answer = sample(question, px, scene)
                rows[question.name] = accuracy(judges[question.name].log_odds(features), answer)
    return rows


def measure_passed(
    judges: Mapping[str, Judge], examples: AllExamples
) -> dict[str, dict[str, float]]:
    """The same on what the pose pass says of held-back entries, where both answers are at hand."""
    rows = {}
    for question in QUESTIONS:
        real = passed(question, examples, for_test=True)
        if real is not None:
            rows[question.name] = accuracy(judges[question.name].log_odds(real[0]), real[1])
    return rows
