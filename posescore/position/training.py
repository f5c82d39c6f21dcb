"""Making the classifier: an ensemble in which every member is ignorant of one fold of entries.

With six entries of knee-on-belly and four of north-south in the open set, a single held-back part
would waste a fifth of them. So entries are spread over five folds; member k learns from all poses
but fold k's (and what lies within 5 cm of them among unnamed frames), and is measured and
calibrated on fold k alone. The shipped classifier is the mean of all members; its card's figures
come from one member each, so they are, if anything, too low.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
from joblib import Parallel, delayed
from numpy.typing import NDArray
from sklearn.neural_network import MLPClassifier
from sklearn.pipeline import Pipeline, make_pipeline
from sklearn.preprocessing import StandardScaler

from posescore.position.card import write_card
from posescore.position.classifier import PositionClassifier
from posescore.position.evaluation import CONDITIONS, evaluate, table
from posescore.position.examples import (
    SWAPPED_STATES,
    Examples,
    Poses,
    draw_examples,
    either_way,
    film,
    folds_of,
    training_poses,
)
from posescore.position.features import features
from posescore.position.model_file import write_model
from posescore.position.network import SymmetricNetwork, mean_of, softmax
from posescore.simulation.pose_set import PoseSet, load_pose_set
from posescore.terms import STATES

N_STATES: Final = len(STATES)
Say = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Settings:
    """Sizes and rates of training; chosen on the folds, see the card."""

    n_folds: int = 5
    rounds: int = 1
    """Networks of each fold, every round from new examples."""
    examples: int = 300_000
    """Simulated examples of a round, shared by its networks."""
    epochs: int = 8
    hidden: tuple[int, ...] = (192, 96)
    alpha: float = 3e-3
    learning_rate: float = 1e-3
    batch: int = 256
    chunk: int = 20_000
    """Examples between two steps of the learning rate."""


def train(
    pose_set_path: Path | str | None = None,
    out: Path | str = "models/position_classifier.skops",
    seed: int = 0,
    *,
    settings: Settings | None = None,
    extra: Sequence[Examples] = (),
    jobs: int = 1,
    with_card: bool = True,
    say: Say = print,
) -> Path:
    """Train, calibrate and save the classifier, measure it, and write its card beside it.

    The same seed gives the same classifier.

    Parameters
    ----------
    pose_set_path
        The open pose set; None looks where :func:`~posescore.simulation.pose_set.load_pose_set`
        does.
    out
        File to write; it replaces an older one only when training is through.
    seed
        Of poses, cameras, errors and networks.
    settings
        Sizes and rates.
    extra
        More examples, such as what a pose pass gives on rendered matches: features, states and
        group numbers; ``barred`` says which members must not learn from them.
    jobs
        Networks that learn at the same time, a process each; the result is the same.
    with_card
        Measure and write the card (``.md``); without, an older card is left as it is.
    say
        Is told of every step in a sentence.

    Raises
    ------
    MissingPartError
        When the pose set is absent.
    """
    plan = settings or Settings()
    pose_set = load_pose_set(pose_set_path)
    named = pose_set.labelled
    fold = folds_of(named, plan.n_folds)
    say(f"{len(named)} named poses of {len(np.unique(named.entry))} entries, {plan.n_folds} folds.")
    members: list[Pipeline] = []
    for turn in range(plan.rounds):
        rng = np.random.default_rng(seed + 1000 * turn)
        poses = training_poses(pose_set, fold, plan.n_folds, rng)
        pool = draw_examples(poses, plan.examples, rng)
        say(f"Round {turn + 1} of {plan.rounds}: {len(pool)} examples of {len(poses)} poses.")
        members += train_round([pool, *extra], plan, seed + 1000 * turn, jobs)
        say(f"{len(members)} networks have learned.")
    contents = calibrated_contents(members, named, fold, poses, plan, seed)
    target = Path(out)
    write_model(target, contents)
    say(f"Written to {target}.")
    if with_card:
        classifier = PositionClassifier.load(target)
        figures = evaluate(pose_set_path, classifier, conditions=CONDITIONS)
        write_card(target.with_suffix(".md"), classifier, figures)
        say("\n".join(table(figures)))
    return target


def train_round(
    parts: Sequence[Examples], plan: Settings, seed: int, jobs: int = 1
) -> list[Pipeline]:
    """One network for each fold, learning from the same examples less those barred to it."""
    known = [part for part in parts if len(part)]
    networks: list[Pipeline] = Parallel(n_jobs=jobs)(
        delayed(_member)(known, index, plan, seed) for index in range(plan.n_folds)
    )
    return networks


def calibrated_contents(
    members: Sequence[Pipeline],
    named: PoseSet,
    fold: NDArray[np.int64],
    poses: Poses,
    plan: Settings,
    seed: int,
) -> dict[str, Any]:
    """What goes into the file: networks (round by round, fold by fold) and their calibration."""
    wanted = _frequencies(poses.weight, poses.state)
    fits = _calibrations(members, named, fold, wanted, np.random.default_rng([seed, 1]))
    return {
        "members": list(members),
        "slope": [slope for slope, _ in fits],
        "offset": [offset for _, offset in fits],
        "nobody": wanted,
        "held_back_entries": [np.unique(named.entry[fold == k]) for k in range(plan.n_folds)],
        "training": {"seed": seed, "settings": _plain(plan), "poses": len(poses)},
    }


def _plain(plan: Settings) -> dict[str, Any]:
    return {**asdict(plan), "hidden": list(plan.hidden)}


def _member(parts: Sequence[Examples], index: int, plan: Settings, seed: int) -> Pipeline:
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


def _frequencies(weight: NDArray[np.float64], state: NDArray[np.int64]) -> NDArray[np.float64]:
    share = np.bincount(state, weights=weight, minlength=N_STATES)
    share = share + share[SWAPPED_STATES]
    return np.asarray(share / share.sum())


def _calibrations(
    members: Sequence[Pipeline],
    named: PoseSet,
    fold: NDArray[np.int64],
    wanted: NDArray[np.float64],
    rng: np.random.Generator,
    views: int = 12,
) -> list[tuple[float, NDArray[np.float64]]]:
    """Slope and offsets of the calibration, on poses that each network never learned from.

    First that of all folds, then for every fold that of the others, which is what the fold is
    measured with. Held-back frames are weighed so that states come as often as ``wanted``
    ``(n_states,)``; scramble, which has no named frame, keeps its offset.
    """
    n_folds = int(fold.max()) + 1
    networks = [SymmetricNetwork.of_pipeline(member) for member in members]
    logs, truth, of_fold = [], [], []
    for index in range(n_folds):
        held = named.joints_m[fold == index]
        for _ in range(views):
            given = mean_of(networks[index::n_folds], features(*film(held, rng)))
            logs.append(np.log(np.maximum(given, 1e-9)))
            truth.append(named.state[fold == index])
            of_fold.append(np.full(len(held), index))
    y = np.concatenate(truth)
    seen = np.bincount(y, minlength=N_STATES) + np.bincount(SWAPPED_STATES[y], minlength=N_STATES)
    weight = (wanted / np.maximum(seen, 1))[y]
    log_rows, held_in = np.concatenate(logs), np.concatenate(of_fold)
    used = [np.ones(len(y), bool), *(held_in != index for index in range(n_folds))]
    return [fit_calibration(log_rows[rows], y[rows], weight[rows]) for rows in used]


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
