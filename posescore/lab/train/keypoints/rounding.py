"""Makes up for what rounding a network's weights does to the mean of every channel.

A weight rounded to 128 levels is off by a little, and over the thousands of products of a channel
the errors do not cancel: the channel's mean moves, which the next layers were never trained for.
How far it moves is the weights' error times the mean of what comes in, and that much is taken from
the channel's bias ("bias correction", Nagel et al. 2019, "Data-Free Quantization Through Weight
Equalization and Bias Correction", here with means read off pictures).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import numpy as np
import onnx
import onnxruntime
from numpy.typing import NDArray
from onnx import TensorProto, helper, numpy_helper

LEVELS: Final = 64
"""Weights of seven bits lie in -64..64, the largest of a channel at the end."""

_WITH_WEIGHTS: Final = ("Conv", "Gemm")


def make_up_for_rounding(
    model: onnx.ModelProto, pictures: NDArray[np.uint8], kept: Sequence[str] = ()
) -> int:
    """Correct the biases of all convolutions and linear layers; count them.

    Parameters
    ----------
    model
        Float32 weights, which stay as they are; biases are changed.
    pictures
        ``(n, 256, 256, 3)`` uint8: what the means are taken over.
    kept
        Names of nodes whose weights will not be rounded.
    """
    weights = {w.name: numpy_helper.to_array(w) for w in model.graph.initializer}
    nodes = [
        node
        for node in model.graph.node
        if node.op_type in _WITH_WEIGHTS and node.input[1] in weights and node.name not in kept
    ]
    means = _means(model, sorted({node.input[0] for node in nodes}), pictures)
    for node in nodes:
        shift = _shift(node, weights[node.input[1]], means[node.input[0]])
        bias = weights[node.input[2]] if len(node.input) > 2 and node.input[2] else 0 * shift
        corrected = (bias - shift.reshape(np.shape(bias))).astype(np.float32)
        name = f"{node.name}_corrected_bias"
        model.graph.initializer.append(numpy_helper.from_array(corrected, name))
        del node.input[2:]
        node.input.append(name)
    return len(nodes)


def rounded(weight: NDArray[np.float32]) -> NDArray[np.float32]:
    """Weights ``(channels, ...)`` as :data:`LEVELS` lets them be, each channel with its scale."""
    axes = tuple(range(1, weight.ndim))
    scale = np.abs(weight).max(axis=axes, keepdims=True) / LEVELS
    scale[scale == 0] = 1
    return np.asarray(np.round(weight / scale) * scale, np.float32)


def _shift(
    node: onnx.NodeProto, weight: NDArray[np.float32], mean: NDArray[np.float32]
) -> NDArray[np.float32]:
    """How far rounding moves the mean of every channel that comes out."""
    if node.op_type == "Gemm":
        rows = weight if _attribute(node, "transB", 0) else weight.T
        return np.asarray((rounded(rows) - rows) @ mean, np.float32)
    error = (rounded(weight) - weight).sum(axis=(2, 3))
    groups = _attribute(node, "group", 1)
    inputs = mean.reshape(groups, -1).repeat(len(weight) // groups, axis=0)
    return np.asarray((error * inputs).sum(axis=1), np.float32)


def _attribute(node: onnx.NodeProto, name: str, default: int) -> int:
    return next((int(a.i) for a in node.attribute if a.name == name), default)


def _means(
    model: onnx.ModelProto, names: Sequence[str], pictures: NDArray[np.uint8]
) -> dict[str, NDArray[np.float32]]:
    """Mean of every channel of some maps over all places of all pictures."""
    asked = onnx.ModelProto()
    asked.CopyFrom(model)
    for name in names:
        asked.graph.output.append(helper.make_tensor_value_info(name, TensorProto.FLOAT, None))
    session: Any = onnxruntime.InferenceSession(
        asked.SerializeToString(), providers=["CPUExecutionProvider"]
    )
    total: dict[str, NDArray[np.float32]] = {}
    for picture in pictures:
        maps = session.run(list(names), {"picture": picture[None]})
        for name, values in zip(names, maps, strict=True):
            mean = np.asarray(_of_channels(values) / len(pictures), np.float32)
            total[name] = total[name] + mean if name in total else mean
    return total


def _of_channels(values: NDArray[np.float32]) -> NDArray[np.float32]:
    """Convolutions' channels are the second of four axes, linear layers' the last."""
    if values.ndim == 4:
        return np.asarray(values.mean(axis=(0, 2, 3)), np.float32)
    return np.asarray(values.reshape(-1, values.shape[-1]).mean(axis=0), np.float32)
