"""Make the position classifier: ``python -m posescore.lab.train.positions.classifier``."""

from __future__ import annotations

from pathlib import Path

import click

from posescore.cli.options import FILE, poses_option, seed_option
from posescore.lab.train.positions.training import material_for
from posescore.lab.train.positions.training import train as train_classifier


@click.command()
@poses_option
@click.option(
    "--out",
    type=FILE,
    default=Path("models/position_classifier.onnx"),
    show_default=True,
    help="File of the weights; their card goes beside it.",
)
@seed_option
@click.option("--material", type=FILE, help="Only write what is learned from, to learn elsewhere.")
@click.option("--learned", type=FILE, multiple=True, help="A round of networks learned elsewhere.")
@click.option("--real", type=FILE, multiple=True, help="What a pose pass gives, to learn from.")
def train(
    poses: Path | None,
    out: Path,
    seed: int,
    material: Path | None,
    learned: tuple[Path, ...],
    real: tuple[Path, ...],
) -> None:
    """Train the position classifier on the open pose set, split by entry.

    Needs the extra `lab`. Minutes on a GPU, days on a processor.
    """
    if material:
        click.echo(f"{len(material_for(material, poses, seed))} ways between poses: {material}")
        return
    train_classifier(poses, out, seed=seed, learned=learned, real=real, say=click.echo)


if __name__ == "__main__":
    train()
