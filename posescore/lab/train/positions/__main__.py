"""Learn on another machine: material in, weights out; neither is anything but plain arrays.

``python -m posescore.lab.train.positions.classifier --material FILE`` writes the material and
stops, ``python -m posescore.lab.train.positions`` learns from it, and ``python -m
posescore.lab.train.positions.classifier --learned FILE`` makes the classifier of what was learned.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from posescore.lab.train.positions.everywhere import learn_everywhere
from posescore.lab.train.positions.export import networks_of
from posescore.lab.train.positions.loop import Learned, Plan, Weights
from posescore.lab.train.positions.material import Material
from posescore.lab.train.positions.stack import Sizes
from posescore.lab.train.positions.weights_file import read_weights, write_weights


def main() -> None:
    """Read the arguments, learn, write the weights."""
    parser = argparse.ArgumentParser(prog="python -m posescore.lab.train.positions")
    parser.add_argument("--material", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--start", type=Path, help="weights, or a classifier, to go on from")
    parser.add_argument("--round", type=int, default=1, help="which round of those to go on from")
    parser.add_argument("--real", type=Path, nargs="*", default=[], help="what a pose pass gives")
    parser.add_argument("--real-share", type=float, default=Plan().real_share)
    parser.add_argument("--pictures", type=int, default=Plan().pictures)
    parser.add_argument("--seconds", type=float, default=float("inf"))
    parser.add_argument("--batch", type=int, default=Plan().batch)
    parser.add_argument("--judge-steps", type=int, default=Plan().judge_steps)
    parser.add_argument("--rate", type=float, default=Plan().learning_rate)
    parser.add_argument("--at-once", type=int, default=Plan().at_once)
    parser.add_argument("--layers", type=int, default=Sizes().layers)
    parser.add_argument("--wide", type=int, default=Sizes().wide)
    parser.add_argument("--devices", nargs="*")
    given = parser.parse_args()
    plan = Plan(
        pictures=given.pictures, longest_s=given.seconds, batch=given.batch,
        judge_steps=given.judge_steps, learning_rate=given.rate,
        at_once=given.at_once, real_share=given.real_share,
        sizes=Sizes(layers=given.layers, wide=given.wide),
    )  # fmt: skip
    material = Material.load(given.material)
    start = None
    if given.start:
        count = material.n_folds + 1
        start = _start(given.start)[count * (given.round - 1) :][:count]

    def keep(learned: Learned) -> None:
        write_weights(given.out, learned.weights, plan.about(learned.pictures, bool(given.real)))

    keep(
        learn_everywhere(
            material, plan, given.seed, given.devices, given.real, start,
            keep=keep,
        )
    )  # fmt: skip


def _start(path: Path) -> list[Weights]:
    """Networks of a weights file, or of a classifier's own file."""
    if path.suffix != ".onnx":
        return read_weights(path)
    return networks_of(path)


if __name__ == "__main__":
    main()
