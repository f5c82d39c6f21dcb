"""The networks of measured features: one for each fold, trained with scikit-learn.

Member k learns from all poses but fold k's (and what lies within 5 cm of them among unnamed
frames), from examples that all members share.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from joblib import Parallel, delayed
from numpy.typing import NDArray
from sklearn.neural_network import MLPClassifier
from sklearn.pipeline import Pipeline, make_pipeline
from sklearn.preprocessing import StandardScaler

from posescore.position.examples import Examples, draw_examples, either_way, training_poses
from posescore.position.features import features
from posescore.simulation.pose_set import PoseSet
from posescore.terms import N_COCO, STATES

N_STATES: Final = len(STATES)


@dataclass(frozen=True, slots=True)
class Measuring:
    """Sizes and rates of these networks; chosen on the folds."""

    rounds: int = 1
    """Networks of each fold, every round from new examples."""
    examples: int = 220_000
    """Simulated examples of a round, shared by its networks."""
    epochs: int = 6
    hidden: tuple[int, ...] = (192, 96)
    alpha: float = 3e-3
    learning_rate: float = 1e-3
    batch: int = 256
    chunk: int = 20_000
    """Examples between two steps of the learning rate."""


def train_members(
    pose_set: PoseSet,
    fold: NDArray[np.int64],
    plan: Measuring,
    seed: int,
    real: Sequence[Path] = (),
    jobs: int = 1,
) -> list[Pipeline]:
    """Networks round by round and in each fold by fold; a round shares its examples.

    ``fold`` ``(n_named,)`` is that of the set's named frames, ``real`` are files of what a pose
    pass gives.
    """
    n_folds = int(fold.max()) + 1
    members: list[Pipeline] = []
    for turn in range(plan.rounds):
        own = seed + 1000 * turn
        rng = np.random.default_rng(own)
        poses = training_poses(pose_set, fold, n_folds, rng)
        parts = [draw_examples(poses, plan.examples, rng)]
        if real:
            parts.append(real_examples(real, pose_set, fold, rng))
        members += Parallel(n_jobs=jobs)(
            delayed(_member)(parts, index, plan, own) for index in range(n_folds)
        )
    return members


def real_examples(
    paths: Sequence[Path], pose_set: PoseSet, fold: NDArray[np.int64], rng: np.random.Generator
) -> Examples:
    """What a pose pass gave, in half of the pictures without feet, in a third without confidence.

    A picture is barred from the fold of the frame that it shows.
    """
    files = [np.load(path, allow_pickle=False) for path in paths]
    found, sure = (np.concatenate([f[k] for f in files]) for k in ("found_px", "confidence"))
    frame, state, entry = (
        np.concatenate([f[k] for f in files]) for k in ("frame", "state", "entry")
    )
    found, sure = found.astype(np.float32), sure.astype(np.float32)
    found[rng.random(len(found)) < 0.5, :, N_COCO:] = np.nan
    sure[rng.random(len(sure)) < 1 / 3] = 1.0
    of_frame = np.full(len(pose_set), -1)
    of_frame[pose_set.state >= 0] = fold
    shown = np.where(frame < len(pose_set), of_frame[np.minimum(frame, len(pose_set) - 1)], -1)
    barred = shown[:, None] == np.arange(int(fold.max()) + 1)
    chunks = [
        features(found[start : start + 8192], sure[start : start + 8192])
        for start in range(0, len(found), 8192)
    ]
    return Examples(np.concatenate(chunks), state.astype(np.int64), barred, entry.astype(np.int64))


def _member(parts: Sequence[Examples], index: int, plan: Measuring, seed: int) -> Pipeline:
    """One network that never learns from fold ``index``; the learning rate falls as a cosine."""
    rng = np.random.default_rng([seed, index])
    known = [(part, np.flatnonzero(~part.barred[:, index])) for part in parts]
    total = sum(len(rows) for _, rows in known)
    order = [np.stack([np.full(len(r), k), r], 1) for k, (_, r) in enumerate(known)]
    every = np.concatenate(order)
    parts_of_epoch = max(1, round(total / plan.chunk))
    scaler = StandardScaler().fit(known[0][0].features[known[0][1][:20_000]])
    network = MLPClassifier(
        hidden_layer_sizes=plan.hidden,
        alpha=plan.alpha,
        batch_size=min(plan.batch, total // parts_of_epoch),
        learning_rate_init=plan.learning_rate,
        random_state=seed + index,
    )
    steps = plan.epochs * parts_of_epoch
    step = 0
    for _ in range(plan.epochs):
        every = rng.permutation(every)
        for where in np.array_split(every, parts_of_epoch):
            rows, state = _gather(parts, where)
            rows, state = either_way(rows, state, rng)
            if step:  # the optimiser exists once a first chunk was learned
                fall = 0.5 * (1 + np.cos(np.pi * step / steps))
                network._optimizer.learning_rate_init = plan.learning_rate * fall + 1e-5
            network.partial_fit(scaler.transform(rows), state, classes=np.arange(N_STATES))
            step += 1
    return _slim(make_pipeline(scaler, network))


def _gather(
    parts: Sequence[Examples], where: NDArray[np.int64]
) -> tuple[NDArray[np.float32], NDArray[np.int64]]:
    rows = np.empty((len(where), parts[0].features.shape[1]), np.float32)
    state = np.empty(len(where), np.int64)
    for k, part in enumerate(parts):
        here = where[:, 0] == k
        rows[here] = part.features[where[here, 1]]
        state[here] = part.state[where[here, 1]]
    return rows, state


def _slim(pipeline: Pipeline) -> Pipeline:
    """Without what only further learning would need (twice the size of the weights)."""
    network = pipeline[-1]
    for name in ("_optimizer", "_random_state", "loss_curve_", "_no_improvement_count"):
        network.__dict__.pop(name, None)
    network.coefs_ = [w.astype(np.float32) for w in network.coefs_]
    network.intercepts_ = [b.astype(np.float32) for b in network.intercepts_]
    return pipeline
