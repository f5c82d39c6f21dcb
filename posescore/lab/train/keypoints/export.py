"""Writes the trained networks as ONNX files of half the size, and checks them against torch.

    python -m posescore.lab.train.keypoints.export --checkpoint FOLDER --models models

Weights are stored as float16 and widened once when a session is made, so that the arithmetic
stays float32: laptops' processors have no fast float16.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

import click
import numpy as np
import onnx
import torch
from onnx import TensorProto, helper, numpy_helper
from torch import Tensor, nn

from posescore.lab.train.keypoints.checkpoint import load_checkpoint
from posescore.lab.train.keypoints.network import SIDE_PX
from posescore.lab.train.keypoints.training import empty_modules
from posescore.pose.estimators.onnx_network import OnnxNetwork

OPSET: Final = 17
_SMALL: Final = 256
"""Tensors of fewer numbers keep their precision: scales and biases, which weigh nothing."""


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


def halve_weights(model: onnx.ModelProto) -> None:
    """Store large float32 weights as float16, each followed by a cast back."""
    graph = model.graph
    casts, kept = [], []
    for weight in graph.initializer:
        values = numpy_helper.to_array(weight)
        if weight.data_type != TensorProto.FLOAT or values.size < _SMALL:
            kept.append(weight)
            continue
        name = f"{weight.name}_half"
        kept.append(numpy_helper.from_array(values.astype(np.float16), name))
        casts.append(helper.make_node("Cast", [name], [weight.name], to=TensorProto.FLOAT))
    del graph.initializer[:]
    graph.initializer.extend(kept)
    nodes = [*casts, *graph.node]
    del graph.node[:]
    graph.node.extend(nodes)


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
