"""Makes ``models/time_model.onnx``: ``python -m posescore.lab.train.time.finish --weights FILE``.

Walks matches through entries that were left out, calibrates the model on them, learns what follows
what in matches, and writes one file.
"""

from __future__ import annotations

import multiprocessing
import tempfile
from functools import partial
from pathlib import Path
from typing import Any

import click
import numpy as np
import torch

from posescore.holds.decoding.grammar import Grammar
from posescore.holds.film.model import TimeModel
from posescore.lab.train.time.calibration import (
    Answered,
    answered,
    calibrated,
    figures,
    holds_calibrated,
    pooling_of,
)
from posescore.lab.train.time.export import write_time_model
from posescore.lab.train.time.network import TimeNetwork
from posescore.lab.train.time.order import learned_order


def answered_by(path: Path, seed: int) -> Answered | None:
    """As :func:`posescore.lab.train.time.calibration.answered`, by a file's model."""
    return answered(TimeModel.load(path), seed)


@click.command()
@click.option("--weights", type=click.Path(path_type=Path), required=True)
@click.option("--out", type=click.Path(path_type=Path), default=Path("models/time_model.onnx"))
@click.option("--matches", default=200, help="Left out, to calibrate on.")
@click.option("--processes", default=2)
@click.option("--made", default="", help="How the weights learned, in a sentence.")
def main(weights: Path, out: Path, matches: int, processes: int, made: str) -> None:
    """Calibrate, write, print how right the answers to matches left out are."""
    learned = torch.load(weights, weights_only=True)
    network = TimeNetwork()
    network.load_state_dict(learned)
    start = pooling_of({name: value.numpy() for name, value in learned.items()})
    known = Grammar.shipped()
    with tempfile.TemporaryDirectory() as folder:
        plain = Path(folder) / "plain.onnx"
        write_time_model(network, plain, {})
        with multiprocessing.get_context("spawn").Pool(processes) as pool:
            told = pool.map(partial(answered_by, plain), range(matches), chunksize=1)
    found = [match for match in told if match is not None]
    order = learned_order([match.truth.state for match in found], known)
    reading = holds_calibrated(found, calibrated(found, start), known.learned(order))
    about: dict[str, Any] = {"calibration": reading.to_json(), "order": order, "made": made}
    write_time_model(network, out, about)
    for name, figure in figures(found, reading).items():
        click.echo(f"{name}: {figure}")
    click.echo(
        f"{len(found)} matches, {out.stat().st_size / 1e6:.2f} MB, {np.round(reading.hold, 2)}"
    )


if __name__ == "__main__":
    main()
