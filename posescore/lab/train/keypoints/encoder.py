"""An encoder that has seen real people: the backbone of a published multi-person pose network.

MoveNet MultiPose Lightning (Apache-2.0) is a MobileNetV2 with a feature pyramid and key point heat
maps, trained by its authors on photographs of people. Its graph, in TensorFlow.js's layout, is
read into this module; normalisation is folded into the convolutions there, so none is left here.
"""

from __future__ import annotations

import itertools
import json
from pathlib import Path
from typing import Any, Final, cast

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor, nn
from torch.nn import functional

from posescore.errors import MissingPartError
from posescore.lab.train.keypoints.fused import RELU, RELU6, STRAIGHT, convolved

_DOWN: Final = frozenset({1, 3, 6, 13})
"""Blocks that halve the resolution."""

_EXTRACTOR: Final = "model/"


class _Convolution(nn.Conv2d):
    """A convolution padded as TensorFlow pads ("SAME"): the odd pixel goes right and below."""

    def __init__(self, inputs: int, outputs: int, size: int, stride: int, groups: int = 1) -> None:
        self._even = stride == 1
        super().__init__(
            inputs, outputs, size, stride, size // 2 if stride == 1 else 0, groups=groups
        )

    def forward(self, x: Tensor) -> Tensor:
        """Convolve; the size is halved exactly where the stride is two."""
        if not self._even:
            x = functional.pad(x, (0, 1, 0, 1))
        return super().forward(x)


class _Block(nn.Module):
    """An inverted residual: widen, filter each channel, narrow."""

    def __init__(self, inputs: int, wide: int, outputs: int, stride: int) -> None:
        super().__init__()
        self.expand = _Convolution(inputs, wide, 1, 1)
        self.depthwise = _Convolution(wide, wide, 3, stride, groups=wide)
        self.project = _Convolution(wide, outputs, 1, 1)
        self._adds = stride == 1 and inputs == outputs

    def forward(self, x: Tensor) -> Tensor:
        """Apply the block."""
        y = convolved(self.depthwise, convolved(self.expand, x, RELU6), RELU6)
        return convolved(self.project, y, STRAIGHT, x if self._adds else None)


class _Separable(nn.Module):
    """Filter each channel, then mix them."""

    def __init__(self, inputs: int, outputs: int) -> None:
        super().__init__()
        self.depthwise = nn.Conv2d(inputs, inputs, 3, 1, 1, groups=inputs, bias=False)
        self.mix = nn.Conv2d(inputs, outputs, 1)

    def forward(self, x: Tensor) -> Tensor:
        """Apply both and keep what is positive."""
        return convolved(self.mix, convolved(self.depthwise, x), RELU)


class Encoder(nn.Module):
    """Features of a picture at four resolutions.

    :meth:`forward` takes ``(n, 3, h, w)`` in 0..1, sides divisible by 32, and gives maps at a
    quarter, an eighth, a sixteenth and a 32nd of the size. The first holds, after the backbone's
    channels, the pyramid's 24 and the 17 heat maps of the published network.
    """

    def __init__(
        self, widths: tuple[tuple[int, int], ...], stem: int, first: int, top: int
    ) -> None:
        super().__init__()
        self.stem = _Convolution(3, stem, 3, 2)
        self.first_depthwise = _Convolution(stem, stem, 3, 1, groups=stem)
        self.first_project = _Convolution(stem, first, 1, 1)
        blocks, inputs = [], first
        for number, (wide, outputs) in enumerate(widths, start=1):
            blocks.append(_Block(inputs, wide, outputs, 2 if number in _DOWN else 1))
            inputs = outputs
        self.blocks = nn.ModuleList(blocks)
        self.top = _Convolution(inputs, top, 1, 1)
        taps = [widths[k - 1][1] for k in (9, 5, 2)]
        self.lateral = nn.ModuleList(
            nn.Conv2d(i, o, 1) for i, o in zip((top, *taps), (64, 64, 32, 24), strict=True)
        )
        self.smooth = nn.ModuleList((_Separable(64, 32), _Separable(32, 24), _Separable(24, 24)))
        self.heat_wide = _Separable(24, 96)
        self.heat = nn.Conv2d(96, 17, 1)
        self.channels = (taps[2] + 24 + 17, taps[1] + 32, widths[11][1] + 64, widths[15][1])

    def freeze(self, blocks: int) -> None:
        """Let the first layers and so many blocks stay as they are: none when 0.

        They know edges and texture of real pictures, and learning them costs a fifth of a step.
        """
        if blocks:
            first = (self.stem, self.first_depthwise, self.first_project)
            for part in (*first, *list(self.blocks)[:blocks]):
                part.requires_grad_(False)

    def forward(self, x: Tensor) -> tuple[Tensor, Tensor, Tensor, Tensor]:
        """Features at a quarter, an eighth, a sixteenth and a 32nd of the size."""
        x = convolved(self.stem, x * 2 - 1, RELU6)
        x = convolved(self.first_project, convolved(self.first_depthwise, x, RELU6))
        taken = {}
        for number, block in enumerate(self.blocks, start=1):
            x = block(x)
            taken[number] = x
        first, *laterals = (cast("nn.Conv2d", layer) for layer in self.lateral)
        level = convolved(first, convolved(self.top, x, RELU6))
        pyramid = []
        for lateral, smooth, tap in zip(laterals, self.smooth, (9, 5, 2), strict=True):
            level = functional.interpolate(level, scale_factor=2.0, mode="bilinear")
            level = convolved(lateral, taken[tap], STRAIGHT, level)
            pyramid.append(level)
            level = smooth(level)
        heat = convolved(self.heat, self.heat_wide(level))
        return (
            torch.cat([taken[2], level, heat.sigmoid()], 1),
            torch.cat([taken[5], pyramid[1]], 1),
            torch.cat([taken[12], pyramid[0]], 1),
            taken[16],
        )


# fmt: off
MULTIPOSE_OUTPUTS: Final = (
    24, 40, 40, 48, 48, 48, 96, 96, 96, 96, 144, 144, 144, 240, 240, 240, 480
)
LIGHTNING_OUTPUTS: Final = (16, 24, 24, 32, 32, 32, 64, 64, 64, 64, 96, 96, 96, 160, 160, 160, 320)
# fmt: on
"""What the first layer and the sixteen blocks of the two published networks leave."""


def empty_encoder(outputs: tuple[int, ...] = MULTIPOSE_OUTPUTS, stem: int = 48) -> Encoder:
    """An encoder of published sizes with untrained weights: for tests, and for loading ours."""
    widths = tuple((6 * i, o) for i, o in itertools.pairwise(outputs))
    return Encoder(widths, stem, outputs[0], 1280)


def _sizes(weights: dict[str, NDArray[np.float32]]) -> dict[str, Any]:
    blocks = [f"{_EXTRACTOR}block_{k}_project/Conv2D_weights" for k in range(1, 17)]
    names = [f"{_EXTRACTOR}expanded_conv_project/Conv2D_weights", *blocks]
    stem = _named(weights, f"{_EXTRACTOR}Conv1/Conv2D_weights").shape[-1]
    return {"outputs": tuple(_named(weights, n).shape[-1] for n in names), "stem": stem}


def encoder_from_graph(model_json: Path) -> Encoder:
    """The encoder with the published weights, read from a TensorFlow.js graph model.

    Raises
    ------
    MissingPartError
        When the file or its weights are not such a model.
    """
    weights = read_graph_weights(model_json)
    encoder = empty_encoder(**_sizes(weights))
    names = {"stem": f"{_EXTRACTOR}Conv1/Conv2D", "top": f"{_EXTRACTOR}Conv_1/Conv2D"}
    names["first_depthwise"] = f"{_EXTRACTOR}expanded_conv_depthwise/depthwise"
    names["first_project"] = f"{_EXTRACTOR}expanded_conv_project/Conv2D"
    for number in range(1, len(encoder.blocks) + 1):
        for part, kind in (("expand", "Conv2D"), ("depthwise", "depthwise"), ("project", "Conv2D")):
            names[f"blocks.{number - 1}.{part}"] = f"{_EXTRACTOR}block_{number}_{part}/{kind}"
    state = {}
    for ours, theirs in names.items():
        kernel = _named(weights, f"{theirs}_weights")
        state[f"{ours}.weight"] = _laid_out(kernel, "depthwise" in ours)
        state[f"{ours}.bias"] = torch.from_numpy(_named(weights, f"{theirs}_bn_offset"))
    for number, name in enumerate(("conv2d", "conv2d_1", "conv2d_2", "conv2d_3")):
        kernel = _named(weights, f"model_1/{name}/Conv2D/ReadVariableOp")
        state[f"lateral.{number}.weight"] = _laid_out(kernel, False)
        bias = _named(weights, f"model_1/{name}/BiasAdd/ReadVariableOp")
        state[f"lateral.{number}.bias"] = torch.from_numpy(bias)
    for number, name in enumerate(("separable_conv2d", "separable_conv2d_1", "separable_conv2d_2")):
        stem = f"model_1/{name}/separable_conv2d"
        depthwise = _named(weights, f"{stem}/ReadVariableOp")
        state[f"smooth.{number}.depthwise.weight"] = _laid_out(depthwise, True)
        state[f"smooth.{number}.mix.weight"] = _laid_out(_named(weights, f"{stem}_weights"), False)
        state[f"smooth.{number}.mix.bias"] = torch.from_numpy(_named(weights, f"{stem}_bn_offset"))
    state |= _heat_state(weights)
    encoder.load_state_dict(state)
    return encoder


def _heat_state(weights: dict[str, NDArray[np.float32]]) -> dict[str, Tensor]:
    found = next(name for name in weights if "kpt_heatmap_0/separable_conv2d" in name)
    stem = "kpt_heatmap_0/" + found.split("kpt_heatmap_0/")[1].split("/")[0]
    wide = f"{stem}/separable_conv2d/ReadVariableOp"
    last = "kpt_heatmap_0/" + next(
        n.split("kpt_heatmap_0/")[1].split("/")[0] for n in weights if "kpt_heatmap_0/conv2d" in n
    )
    return {
        "heat_wide.depthwise.weight": _laid_out(_named(weights, wide), True),
        "heat_wide.mix.weight": _laid_out(_named(weights, f"{wide}_1"), False),
        "heat_wide.mix.bias": torch.from_numpy(_named(weights, f"{stem}/BiasAdd/ReadVariableOp")),
        "heat.weight": _laid_out(_named(weights, f"{last}/Conv2D/ReadVariableOp"), False),
        "heat.bias": torch.from_numpy(_named(weights, f"{last}/BiasAdd/ReadVariableOp")),
    }


def _laid_out(kernel: NDArray[np.float32], depthwise: bool) -> Tensor:
    order = (2, 3, 0, 1) if depthwise else (3, 2, 0, 1)
    return torch.from_numpy(np.ascontiguousarray(kernel.transpose(order)))


def _named(weights: dict[str, NDArray[np.float32]], ending: str) -> NDArray[np.float32]:
    found = [name for name in weights if name == ending or name.endswith(f"/{ending}")]
    if len(found) != 1:
        raise MissingPartError(f"The pose network's graph has {len(found)} weights like {ending}.")
    return weights[found[0]]


def read_graph_weights(model_json: Path) -> dict[str, NDArray[np.float32]]:
    """Every float weight of a TensorFlow.js graph model, by name, as float32.

    Raises
    ------
    MissingPartError
        When the file is absent or holds weights in another form than float32 or float16.
    """
    if not model_json.is_file():
        raise MissingPartError(f"The published pose network is not at {model_json}.")
    manifest = json.loads(model_json.read_text("utf-8"))["weightsManifest"]
    weights: dict[str, NDArray[np.float32]] = {}
    for group in manifest:
        data = b"".join((model_json.parent / p).read_bytes() for p in group["paths"])
        start = 0
        for entry in group["weights"]:
            stored = np.dtype(entry.get("quantization", entry)["dtype"])
            count = int(np.prod(entry["shape"], dtype=np.int64))
            end = start + count * stored.itemsize
            if stored.kind == "f":
                values = np.frombuffer(data[start:end], stored).astype(np.float32)
                weights[entry["name"]] = values.reshape(entry["shape"])
            elif stored.kind != "i":
                raise MissingPartError(f"{model_json}: weights of type {stored} are not read.")
            start = end
    return weights
