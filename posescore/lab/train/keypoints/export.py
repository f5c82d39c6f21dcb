"""Writes the trained networks as ONNX files of half the size, and checks them against torch.

python -m posescore.lab.train.keypoints.export --checkpoint FOLDER --models models
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click
import numpy as np
import onnx
import torch
from torch import Tensor, nn

from posescore.lab.train.keypoints.checkpoint import load_checkpoint
from posescore.lab.train.keypoints.network import SIDE_PX
from posescore.lab.train.keypoints.training import empty_modules
from posescore.lab.train.onnx_files import OPSET, halve_weights
from posescore.pose.estimators.onnx_network import OnnxNetwork


class _PictureOfBytes(nn.Module):
    """Takes what a camera gives: ``(1, 256, 256, 3)`` uint8."""

    def __init__(self, network: nn.Module) -> None:
        super().__init__()
        self.network = network

    def forward(self, picture: Tensor) -> Any:
        """The network's outputs."""
        return self.network(picture.permute(0, 3, 1, 2).float() / 255)


def write_onnx(module: nn.Module, path: Path, outputs: list[str]) -> None:
    """Write one network, its weights as float16."""
    wrapped = _PictureOfBytes(module).eval()
    example = torch.zeros(1, SIDE_PX, SIDE_PX, 3, dtype=torch.uint8)
    torch.onnx.export(
        wrapped,
        (example,),
        str(path),
        opset_version=OPSET,
        input_names=["picture"],
        output_names=outputs,
        dynamo=False,
    )
    model = onnx.load(str(path))
    halve_weights(model)
    onnx.checker.check_model(model)
    onnx.save(model, str(path))


def difference(module: nn.Module, path: Path) -> float:
    """Largest difference of the first output between torch and the file, on one noisy picture."""
    picture = np.random.default_rng(0).integers(0, 256, (SIDE_PX, SIDE_PX, 3), np.uint8)
    found = OnnxNetwork(path).run(picture)[0]
    with torch.no_grad():
        expected = _PictureOfBytes(module).eval()(torch.from_numpy(picture)[None])[0][0].numpy()
    return float(np.abs(found - expected).max())


@click.command()
@click.option("--checkpoint", type=click.Path(path_type=Path), required=True)
@click.option("--models", type=click.Path(path_type=Path), default=Path("models"))
def main(checkpoint: Path, models: Path) -> None:
    """Write both networks and print their sizes and how far they are from torch."""
    network, finder = empty_modules()
    load_checkpoint(checkpoint, network=network, finder=finder)
    for module, name, outputs in (
        (network, "pair_network.onnx", ["heat", "mask", "visible", "sure"]),
        (finder, "pair_finder.onnx", ["edges", "cells"]),
    ):
        path = models / name
        write_onnx(module, path, outputs)
        size_mb = path.stat().st_size / 1e6
        click.echo(f"{name}: {size_mb:.1f} MB, off by {difference(module, path):.4f}")


if __name__ == "__main__":
    main()
