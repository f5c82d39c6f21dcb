"""Fitting and measuring the judges of criteria on figures; ``refit`` is the command.

Figures with known truth (:mod:`posescore.holds.figures`) are seen through random cameras with a
pose estimator's errors. One seed is fitted on, another measured on.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.holds.body import Floats
from posescore.holds.figures import SCENES, Scene
from posescore.holds.judge import Judge
from posescore.holds.questions import QUESTIONS, SIDES, Question
from posescore.simulation.cameras import random_cameras
from posescore.simulation.estimator_errors import (
    ErrorRates,
    estimate_badly,
    hidden,
    pair_size_px,
)

FIT_SEED: Final = 11
MEASURE_SEED: Final = 12
N_FIGURES: Final = 12_000
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


def fit() -> dict[str, Judge]:
    """All judges, fitted on figures."""
    judges = {}
    for name in SCENES:
        px, scene = scene_seen(name, FIT_SEED)
        for question in QUESTIONS:
            if question.scene == name:
                judges[question.name] = Judge.fitted(*sample(question, px, scene))
    return judges


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
