"""Making the classifier: rounds of networks, every one of them ignorant of one fold of entries.

With six entries of knee-on-belly and four of north-south in the open set, a single held-back part
would waste a fifth of them. So entries are spread over five folds; network k of a round learns
from all poses but fold k's (and what lies within 5 cm of them among unnamed frames), and is
measured and calibrated on fold k alone. The shipped classifier is the mean of all networks; its
card's figures come from one network of each round, so they are, if anything, too low.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from posescore.errors import MissingPartError
from posescore.evaluation.poses3d.pose_set import PoseSet, load_pose_set
from posescore.evaluation.position import CONDITIONS, evaluate, table
from posescore.evaluation.position_from_pictures import evaluate_pass, read_pass
from posescore.lab.train.positions.calibration import calibrations, frequencies, pass_calibrations
from posescore.lab.train.positions.card import write_card
from posescore.lab.train.positions.export import write_networks
from posescore.lab.train.positions.material import Amounts, Material, folds_of, material_of
from posescore.lab.train.positions.weights_file import about_weights, read_weights
from posescore.pose.estimators.session import opened_network
from posescore.position.classifier import PositionClassifier
from posescore.position.network import PairNetworks

N_FOLDS: Final = 5
Say = Callable[[str], None]
Weights = Mapping[str, NDArray[Any]]


ROUNDS: Final[tuple[Mapping[str, Any], ...]] = (
    {},
    {"sizes": {"layers": 4, "wide": 192}},
)
"""What differs in each round from :class:`posescore.lab.train.positions.loop.Plan`."""


@dataclass(frozen=True, slots=True)
class Settings:
    """Sizes and rates of training; chosen on the folds, see the card."""

    n_folds: int = N_FOLDS
    amounts: Amounts = field(default_factory=Amounts)
    rounds: Sequence[Mapping[str, Any]] = ROUNDS


def train(
    pose_set_path: Path | str | None = None,
    out: Path | str = "models/position_classifier.onnx",
    seed: int = 0,
    *,
    settings: Settings | None = None,
    learned: Sequence[Path] = (),
    real: Sequence[Path] = (),
    with_card: bool = True,
    say: Say = print,
) -> Path:
    """Train, calibrate and save the classifier, measure it, and write its card beside it.

    The same seed gives the same classifier on the same kind of machine.

    Parameters
    ----------
    pose_set_path
        The open pose set; None looks where
        :func:`~posescore.evaluation.poses3d.pose_set.load_pose_set` does.
    out
        File to write; it replaces an older one only when training is through.
    seed
        Of poses, cameras, errors and networks.
    settings
        Sizes and rates.
    learned
        Rounds of networks that learned elsewhere (``python -m posescore.lab.train.positions``);
        without any they learn here, which needs the extra ``lab``, and a GPU to be done within
        the day.
    real
        Files of what a pose pass gives, to learn from besides.
    with_card
        Measure and write the card (``.md``); without, an older card is left as it is.
    say
        Is told of every step in a sentence.

    Raises
    ------
    MissingPartError
        When the pose set, a file or the extra is absent.
    """
    plan = settings or Settings()
    pose_set = load_pose_set(pose_set_path)
    named = pose_set.labelled
    fold = folds_of(named, plan.n_folds)
    say(f"{len(named)} named poses of {len(np.unique(named.entry))} entries, {plan.n_folds} folds.")
    if learned:
        networks: list[Weights] = [weights for path in learned for weights in read_weights(path)]
        about = [about_weights(path) for path in learned]
    else:
        networks, about = _learned(pose_set, plan, seed, real, say)
    say(f"{len(networks)} networks in {len(about)} rounds.")
    target = Path(out)
    given = read_pass(real) if real else None
    told = _about(_running(networks, plan.n_folds), pose_set, fold, plan, seed, given)
    told["training"]["about"] = about
    write_networks(target, networks, plan.n_folds, told)
    say(f"Written to {target}.")
    if with_card:
        classifier = PositionClassifier.load(target)
        figures = evaluate(pose_set_path, classifier, conditions=CONDITIONS)
        if real:
            figures["real"] = evaluate_pass(real, pose_set_path, classifier)
        write_card(target.with_suffix(".md"), classifier, figures)
        say("\n".join(table(figures)))
    return target


def material_for(
    out: Path, pose_set_path: Path | str | None = None, seed: int = 0, plan: Settings | None = None
) -> Material:
    """What networks of keypoints learn from, kept in a file to be learned from elsewhere."""
    plan = plan or Settings()
    rng = np.random.default_rng(seed)
    material = material_of(load_pose_set(pose_set_path), plan.n_folds, rng, plan.amounts)
    material.save(out)
    return material


def _learned(
    pose_set: PoseSet, plan: Settings, seed: int, real: Sequence[Path], say: Say
) -> tuple[list[Weights], list[str]]:
    try:
        from posescore.lab.train.positions.everywhere import learn_everywhere
        from posescore.lab.train.positions.loop import Plan
        from posescore.lab.train.positions.stack import Sizes
    except ModuleNotFoundError as error:
        raise MissingPartError(
            f"Training needs {error.name}: in a checkout run pip install -e '.[lab]'."
        ) from error
    material = material_of(pose_set, plan.n_folds, np.random.default_rng(seed), plan.amounts)
    networks: list[Weights] = []
    about = []
    for turn, round_ in enumerate(plan.rounds):
        each = Plan(**{**round_, "sizes": Sizes(**round_.get("sizes", {}))})
        learned = learn_everywhere(material, each, seed + 100 * turn, real=real, say=say)
        networks += learned.weights
        about.append(each.about(learned.pictures, bool(real)))
    return networks, about


def _running(weights: Sequence[Weights], n_folds: int) -> PairNetworks:
    """The networks as they will run, not calibrated yet."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "plain.onnx"
        write_networks(path, weights, n_folds, {})
        return PairNetworks(opened_network(path, 1).session)


def _about(
    networks: PairNetworks,
    pose_set: PoseSet,
    fold: NDArray[np.int64],
    plan: Settings,
    seed: int,
    given: Mapping[str, NDArray[Any]] | None = None,
) -> dict[str, Any]:
    """What goes into the file beside the networks: their calibrations, and how they were made.

    ``given`` is what a pose pass gave; without it tracks are calibrated as pictures are.
    """
    named = pose_set.labelled
    rng = np.random.default_rng([seed, 1])
    fits = calibrations(networks, named, fold, rng)
    pass_fits = pass_calibrations(networks, pose_set, fold, given, rng) if given else fits
    return {
        "calibrations": [(slope, offset.tolist()) for slope, offset in fits],
        "pass_calibrations": [(slope, offset.tolist()) for slope, offset in pass_fits],
        "nobody": frequencies(named.state).tolist(),
        "held_back_entries": [
            np.unique(named.entry[fold == k]).tolist() for k in range(plan.n_folds)
        ],
        "training": {"seed": seed, "settings": _plain(plan)},
    }


def _plain(plan: Settings) -> dict[str, Any]:
    settings = asdict(plan)
    settings["amounts"]["shares"] = list(plan.amounts.shares)
    settings["rounds"] = [dict(each) for each in plan.rounds]
    return settings
