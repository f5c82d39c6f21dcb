"""Fit and measure the judges of criteria: ``python -m posescore.holds.calibration``.

Figures with known truth (:mod:`posescore.holds.figures`) are seen through random cameras with a
pose estimator's errors. Three seeds: one to fit, one to measure. The open pose set, where it is
present, measures the same judges on bodies that people posed, its truth read off the 3D joints;
nothing is fitted on it.
"""

from __future__ import annotations

import hashlib
import json
import sys
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.holds.body import Floats
from posescore.holds.figures import SCENES, Scene
from posescore.holds.judge import FILE, FORMAT, Judge
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


_CARD: Final = """# criteria.json: judges of the published criteria

Logistic regressions on plain geometry of both athletes' keypoints and its products, one for each
question. They read one fifth of a second at a time; `posescore.holds.checks` puts the answers of a
hold together.

- **Fitted on** {n} figures for each position, placed by rules (`posescore/holds/figures.py`), seen
  through random cameras from {low} to {high} degrees of elevation with an estimator's errors. No
  footage and no open pose set went in, and nothing was fitted on the sample match.
- **Measured on** as many figures of another seed. Both answers weigh the same. *Clear* is the share
  that is at least 0.8 sure; *calibration* is the mean gap between how sure and how often right.
- **Made by** `python -m posescore.holds.calibration`, under the project's licence (Apache-2.0).
- **SHA-256** `{sha256}`

| question | right | clear | right if clear | calibration |
|---|---|---|---|---|
{rows}

What they cannot do: one view does not show depth, so feet behind a body, an arm under a leg seen
from above, and a camera straight overhead stay doubtful; the odds say so. Figures are rigid and
adult; children's proportions and loose clothing were not tried.
"""


def main(folder: str = "models") -> None:
    """Fit, write ``criteria.json`` and its card, print the table of accuracies."""
    judges = fit()
    data = {"format": FORMAT, "judges": {name: judge.to_json() for name, judge in judges.items()}}
    text = json.dumps(data) + "\n"
    Path(folder, FILE).write_text(text, "utf-8")
    rows = [
        f"| {name} | {row['right']:.3f} | {row['clear']:.3f} | {row['clear_right']:.3f} |"
        f" {row['calibration_error']:.3f} |"
        for name, row in measure(judges).items()
    ]
    card = _CARD.format(
        n=N_FIGURES,
        low=int(ELEVATION_DEG[0]),
        high=int(ELEVATION_DEG[1]),
        sha256=hashlib.sha256(text.encode()).hexdigest(),
        rows="\n".join(rows),
    )
    Path(folder, FILE).with_suffix(".md").write_text(card, "utf-8")
    print("\n".join(rows))


if __name__ == "__main__":
    main(*sys.argv[1:])
