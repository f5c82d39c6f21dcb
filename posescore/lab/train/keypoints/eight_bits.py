"""Brings the exported networks to eight bits, so that they run in about half the time.

    python -m posescore.lab.train.keypoints.eight_bits --source EXPORTED --folder .corpus

``EXPORTED`` holds the two files that :mod:`posescore.lab.train.keypoints.export` wrote,
``--folder`` what :mod:`posescore.lab.train.keypoints.prepare` made. The ranges of all values
inside the networks are read off pictures in training's own looks and poses, drawn for it; no test
picture and no photograph takes part.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import click
import numpy as np
import onnx
import onnxruntime
import torch
from numpy.typing import NDArray
from onnx import TensorProto, helper, numpy_helper
from onnxruntime.quantization import (
    CalibrationDataReader,
    QuantFormat,
    QuantType,
    quantize_static,
)

from posescore.errors import OwnFailureError
from posescore.evaluation.poses3d.pose_set import load_pose_set
from posescore.lab.corpus.fitting import Fits
from posescore.lab.corpus.pictures import PictureMaker
from posescore.lab.corpus.poses import PoseSampler, split_frames
from posescore.lab.corpus.rig import Rig
from posescore.lab.train.keypoints.rounding import make_up_for_rounding
from posescore.pose.estimators.onnx_network import OnnxNetwork

Pictures = NDArray[np.uint8]
"""``(n, 256, 256, 3)`` uint8 RGB."""

_IN_EIGHT_BITS: Final = ("Conv", "Gemm", "Clip", "Relu", "Add", "Concat", "Resize")
"""Attention's products, its softmax and the layer norms stay in float32: they are a tenth of the
time, and their ranges differ from picture to picture."""

_FLOAT: Final = ("/encoder/stem", "/encoder/first", "/encoder/Clip")
"""The first layers stay in float32. Over 200 held-back training pictures the confidence of a
keypoint moves by .014 so, by .024 with them in eight bits too, and it costs one millisecond of 20;
without the correction of biases .025 and .029."""

MOST_MOVED: Final = 0.4
"""Outputs that move by more than this share of their spread are those of a broken network."""

_DRAWN_AT_ONCE: Final = 12


class _Told(CalibrationDataReader):  # type: ignore[misc]  # the runtime carries no types
    """Hands the pictures to the runtime one by one."""

    def __init__(self, pictures: Pictures) -> None:
        self._rest: Iterator[Pictures] = iter(pictures)

    def get_next(self) -> dict[str, Pictures] | None:
        """The next picture, None behind the last."""
        picture = next(self._rest, None)
        return None if picture is None else {"picture": picture[None]}


def widen_weights(model: onnx.ModelProto) -> None:
    """Undo :func:`posescore.lab.train.keypoints.export.halve_weights`."""
    graph = model.graph
    halves = {w.name: w for w in graph.initializer if w.data_type == TensorProto.FLOAT16}
    kept = []
    for node in graph.node:
        if node.op_type == "Cast" and node.input[0] in halves:
            half = halves[node.input[0]]
            values = numpy_helper.to_array(half).astype(np.float32)
            graph.initializer.append(numpy_helper.from_array(values, node.output[0]))
            graph.initializer.remove(half)
        else:
            kept.append(node)
    del graph.node[:]
    graph.node.extend(kept)


def absorb_pads(model: onnx.ModelProto) -> int:
    """Let convolutions pad for themselves where a constant zero pad stands before them; count them.

    The encoder pads its halving convolutions on one side alone, which a torch convolution cannot
    say; as a step of its own it costs a copy of the largest maps.
    """
    graph = model.graph
    constants = {w.name: numpy_helper.to_array(w) for w in graph.initializer}
    pads = {
        node.output[0]: node
        for node in graph.node
        if node.op_type == "Pad" and _pads_with_zero(node, constants)
    }
    absorbed = []
    for node in graph.node:
        pad = pads.get(node.input[0]) if node.op_type == "Conv" else None
        if pad is None:
            continue
        _, _, top, left, _, _, bottom, right = (int(v) for v in constants[pad.input[1]])
        own = next((a for a in node.attribute if a.name == "pads"), None)
        has = list(own.ints) if own is not None else [0, 0, 0, 0]
        if own is not None:
            node.attribute.remove(own)
        wanted = [a + b for a, b in zip(has, (top, left, bottom, right), strict=True)]
        node.attribute.append(helper.make_attribute("pads", wanted))
        node.input[0] = pad.input[0]
        absorbed.append(pad)
    for pad in absorbed:
        graph.node.remove(pad)
    return len(absorbed)


def _pads_with_zero(node: onnx.NodeProto, constants: dict[str, NDArray[Any]]) -> bool:
    mode = next((a.s for a in node.attribute if a.name == "mode"), b"constant")
    amounts = constants.get(node.input[1])
    value = node.input[2] if len(node.input) > 2 else ""
    zero = not value or (value in constants and not constants[value].any())
    return mode == b"constant" and zero and amounts is not None and amounts.shape == (8,)


def write_plain(source: Path, target: Path) -> None:
    """Write a network with its constants worked out and its linear layers as one node each."""
    options = onnxruntime.SessionOptions()
    options.graph_optimization_level = onnxruntime.GraphOptimizationLevel.ORT_ENABLE_BASIC
    options.optimized_model_filepath = str(target)
    options.log_severity_level = 3
    onnxruntime.InferenceSession(str(source), options, providers=["CPUExecutionProvider"])


def write_eight_bits(source: Path, target: Path, pictures: Pictures) -> None:
    """Write a network of float weights with weights and maps of eight bits.

    Parameters
    ----------
    source
        The exported network, its input ``picture (1, 256, 256, 3)`` uint8.
    target
        Written; may be the source.
    pictures
        What the network is for, to read the ranges off. Two dozen say as much as two hundred.

    Notes
    -----
    Weights take seven of the eight bits: processors without the newer dot products add pairs of
    products in sixteen bits, which eight would overrun. Each channel has a scale of its own, and
    its bias makes up for the rounding.
    """
    with tempfile.TemporaryDirectory() as folder:
        wide, plain = Path(folder) / "wide.onnx", Path(folder) / "plain.onnx"
        model = onnx.load(str(source))
        widen_weights(model)
        onnx.save(model, str(wide))
        write_plain(wide, plain)
        model = onnx.load(str(plain))
        absorb_pads(model)
        kept = [node.name for node in model.graph.node if any(k in node.name for k in _FLOAT)]
        make_up_for_rounding(model, pictures, kept)
        onnx.save(model, str(plain))
        partial = Path(folder) / "eight.onnx"
        quantize_static(
            str(plain),
            str(partial),
            _Told(pictures),
            quant_format=QuantFormat.QDQ,
            op_types_to_quantize=list(_IN_EIGHT_BITS),
            nodes_to_exclude=kept,
            per_channel=True,
            reduce_range=True,
            activation_type=QuantType.QUInt8,
            weight_type=QuantType.QInt8,
            extra_options={"OpTypesToExcludeOutputQuantization": ["Gemm"]},
        )
        onnx.checker.check_model(str(partial))
        target.write_bytes(partial.read_bytes())


def training_pictures(folder: Path, count: int, *, whole: bool, seed: int = 5) -> Pictures:
    """Pictures as training draws them, of its poses alone."""
    rig, fits = Rig.load(folder / "rig.npz"), Fits.load(folder / "fits.npz")
    poses = load_pose_set(folder / "poses3d.npz")
    device = torch.device("cpu")
    sampler = PoseSampler(rig, fits, poses, split_frames(poses).train, device)
    maker = PictureMaker(rig, sampler, seed, device)
    drawn = []
    for start in range(0, count, _DRAWN_AT_ONCE):
        batch = maker.batch(min(_DRAWN_AT_ONCE, count - start), whole=whole)
        levels = (batch.picture.clamp(0, 1) * 255).round().byte()
        drawn.append(levels.permute(0, 2, 3, 1).contiguous().numpy())
    return np.concatenate(drawn)


def moved(source: Path, target: Path, pictures: Pictures) -> float:
    """How far the first output is from where it was, as a share of its own spread."""
    before, after = OnnxNetwork(source), OnnxNetwork(target)
    apart, spread = 0.0, 0.0
    for picture in pictures:
        one, two = before.run(picture)[0], after.run(picture)[0]
        apart += float(np.abs(one - two).mean())
        spread += float(np.abs(one - one.mean()).mean())
    return apart / spread


@click.command()
@click.option("--source", type=click.Path(path_type=Path, exists=True), required=True)
@click.option("--folder", type=click.Path(path_type=Path, exists=True), default=Path(".corpus"))
@click.option("--models", type=click.Path(path_type=Path), default=Path("models"))
@click.option("--pictures", type=int, default=24, help="Pictures to read the ranges off.")
def main(source: Path, folder: Path, models: Path, pictures: int) -> None:
    """Write both networks and print their sizes and how far they moved."""
    for name, whole in (("pair_network.onnx", False), ("pair_finder.onnx", True)):
        drawn = training_pictures(folder, pictures, whole=whole)
        checked = training_pictures(folder, 8, whole=whole, seed=6)
        with tempfile.TemporaryDirectory() as made:
            eight = Path(made) / name
            write_eight_bits(source / name, eight, drawn)
            share = moved(source / name, eight, checked)
            if share > MOST_MOVED:
                raise OwnFailureError(
                    f"{name} in eight bits says something else (moved by {share:.2f} of its "
                    "spread): look at its layers; nothing was written."
                )
            (models / name).write_bytes(eight.read_bytes())
        size_mb = (models / name).stat().st_size / 1e6
        click.echo(f"{name}: {size_mb:.1f} MB, outputs moved by {share:.3f} of their spread")


if __name__ == "__main__":
    main()
