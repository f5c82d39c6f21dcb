"""Fitting the calibration, on poses that the judging networks never learned from."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from posescore.evaluation.poses3d.body_keypoints import body_keypoints_m
from posescore.evaluation.poses3d.cameras import random_cameras
from posescore.evaluation.poses3d.estimator_errors import estimate_badly, hidden, spoil_evenly
from posescore.evaluation.poses3d.pose_set import PoseSet
from posescore.lab.train.positions.material import SWAPPED_STATES
from posescore.position.network import PairNetworks, softmax
from posescore.terms import N_COCO, STATES

N_STATES: Final = len(STATES)
VIEWS: Final = 6
"""Cameras for every frame, with each of two kinds of errors."""
PICTURES: Final = 16_000
"""What a pose pass gave of so many pictures is enough."""


def calibrations(
    networks: PairNetworks,
    named: PoseSet,
    fold: NDArray[np.int64],
    rng: np.random.Generator,
) -> list[tuple[float, NDArray[np.float64]]]:
    """Slope and offsets: for every fold those of the others, and last those of all folds.

    The former are what the fold is measured with. Half of the pictures have an estimator's
    errors, half errors that come evenly. States come as often as in the set; scramble, which has
    no named frame, keeps its offset.
    """
    n_folds = int(fold.max()) + 1
    logs, truth, held_in = [], [], []
    for index in range(n_folds):
        held = named.take(fold == index)
        for view in range(2 * VIEWS):
            pictures = _badly(held, rng) if view % 2 else _evenly(held, rng)
            logs.append(networks.log_probabilities(*pictures, (index,)))
            truth.append(held.state)
            held_in.append(np.full(len(held), index))
    y, log_rows, folds = np.concatenate(truth), np.concatenate(logs), np.concatenate(held_in)
    used = [*(folds != index for index in range(n_folds)), np.ones(len(y), bool)]
    return [fit_calibration(log_rows[rows], y[rows], np.ones(rows.sum())) for rows in used]


def pass_calibrations(
    networks: PairNetworks,
    pose_set: PoseSet,
    fold: NDArray[np.int64],
    given: Mapping[str, NDArray[Any]],
    rng: np.random.Generator,
) -> list[tuple[float, NDArray[np.float64]]]:
    """The same on what a pose pass gave, as ``read_pass`` reads it.

    Pictures are weighed so that states come as often as in the set.
    """
    n_folds = int(fold.max()) + 1
    of_frame = np.full(len(pose_set), -1)
    of_frame[pose_set.state >= 0] = fold
    named = np.flatnonzero(given["frame"] < len(pose_set))
    rows = rng.permutation(named)[:PICTURES]
    held_in, y = of_frame[given["frame"][rows]], given["state"][rows].astype(np.int64)
    logs = np.zeros((len(rows), N_STATES))
    for index in range(n_folds):
        here = held_in == index
        pictures = [given[k][rows[here]].astype(np.float32) for k in ("found_px", "confidence")]
        logs[here] = networks.log_probabilities(pictures[0], pictures[1], (index,))
    wanted = np.bincount(_either(pose_set.labelled.state), minlength=N_STATES)
    drawn = np.bincount(_either(y), minlength=N_STATES)
    weight = (wanted / np.maximum(drawn, 1))[_either(y)]
    used = [*(held_in != index for index in range(n_folds)), np.ones(len(y), bool)]
    return [fit_calibration(logs[part], y[part], weight[part]) for part in used]


def _either(state: NDArray[np.int64]) -> NDArray[np.int64]:
    """The same number for both sides of a position."""
    return np.minimum(state, SWAPPED_STATES[state])


def _badly(
    held: PoseSet, rng: np.random.Generator
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """As an estimator might give them, each through a random camera."""
    keypoints_m = body_keypoints_m(held.joints_m, rng)
    cameras = random_cameras(keypoints_m, rng)
    keypoints_px, depth_m = cameras.project(keypoints_m)
    px_per_m = (cameras.focal_px / depth_m.mean((1, 2))).astype(np.float32)
    return estimate_badly(keypoints_px, hidden(keypoints_px, depth_m, px_per_m), rng)


def _evenly(
    held: PoseSet, rng: np.random.Generator
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    keypoints_m = body_keypoints_m(held.joints_m, rng)
    keypoints_px, _ = random_cameras(keypoints_m, rng).project(keypoints_m)
    given = spoil_evenly(keypoints_px[:, :, :N_COCO], rng)
    return given, np.ones(given.shape[:3], np.float32)


def frequencies(state: NDArray[np.int64], least: float = 0.01) -> NDArray[np.float64]:
    """How often each state comes, ``(n_states,)``: both sides alike, none below ``least``."""
    share = np.bincount(state, minlength=N_STATES).astype(np.float64)
    share = np.maximum((share + share[SWAPPED_STATES]) / share.sum() / 2, least)
    return np.asarray(share / share.sum())


def fit_calibration(
    logs: NDArray[np.float64], truth: NDArray[np.int64], weight: NDArray[np.float64]
) -> tuple[float, NDArray[np.float64]]:
    """Slope and offsets of least weighted log loss, by gradient steps; equal for both sides.

    ``softmax(slope * logs + offset)``; a small pull to offset 0 keeps rare states sober, and
    states without examples keep offset 0.
    """
    weight = weight / weight.sum()
    has = np.bincount(truth, minlength=logs.shape[1]) > 0
    has |= has[SWAPPED_STATES]
    slope, offset = 1.0, np.zeros(logs.shape[1])
    for _ in range(400):
        error = softmax(slope * logs + offset)
        error[np.arange(len(truth)), truth] -= 1.0
        error *= weight[:, None]
        by_state = error.sum(0)
        by_state = (by_state + by_state[SWAPPED_STATES]) / 2 + 0.01 * offset
        slope -= 0.3 * float((error * logs).sum()) / 4
        offset -= np.where(has, 1.0 * by_state, 0.0)
    return slope, offset
