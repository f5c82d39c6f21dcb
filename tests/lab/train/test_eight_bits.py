"""Networks in eight bits say what they said before, nearly."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

torch = pytest.importorskip("torch", reason="training extra not installed")
onnx = pytest.importorskip("onnx", reason="training extra not installed")

from torch import Tensor, nn  # noqa: E402
from torch.nn import functional  # noqa: E402

from posescore.lab.train.keypoints.eight_bits import (  # noqa: E402
    absorb_pads,
    widen_weights,
    write_eight_bits,
    write_plain,
)
from posescore.lab.train.keypoints.export import write_onnx  # noqa: E402
from posescore.lab.train.keypoints.rounding import (  # noqa: E402
    make_up_for_rounding,
    rounded,
)
from posescore.pose.estimators.onnx_network import OnnxNetwork  # noqa: E402

pytestmark = pytest.mark.filterwarnings("ignore::DeprecationWarning", "ignore::UserWarning")


class _Small(nn.Module):
    """A halving convolution padded on one side, one of each channel, and a linear head."""

    def __init__(self) -> None:
        super().__init__()
        self.stem = nn.Conv2d(3, 16, 3, 2)
        self.each = nn.Conv2d(16, 16, 3, 2, groups=16)
        self.head = nn.Linear(16, 20)

    def forward(self, picture: Tensor) -> tuple[Tensor, Tensor]:
        """Two outputs, as the networks have several."""
        x = functional.relu6(self.stem(functional.pad(picture * 2 - 1, (0, 1, 0, 1))))
        x = functional.relu6(self.each(functional.pad(x, (0, 1, 0, 1))))
        tokens = x.flatten(2).transpose(1, 2)
        return self.head(tokens), tokens


@pytest.fixture(scope="module")
def exported(tmp_path_factory: pytest.TempPathFactory) -> Path:
    torch.manual_seed(3)
    path = tmp_path_factory.mktemp("network") / "small.onnx"
    write_onnx(_Small(), path, ["heat", "tokens"])
    return path


@pytest.fixture(scope="module")
def pictures() -> np.ndarray:
    coarse = np.random.default_rng(4).integers(0, 256, (5, 8, 8, 3), np.uint8)
    return coarse.repeat(32, axis=1).repeat(32, axis=2)


def test_widened_weights_say_the_same(exported: Path, pictures: np.ndarray, tmp_path: Path) -> None:
    model = onnx.load(str(exported))
    widen_weights(model)
    assert all(w.data_type != onnx.TensorProto.FLOAT16 for w in model.graph.initializer)
    onnx.save(model, str(tmp_path / "wide.onnx"))
    for picture in pictures:
        before = OnnxNetwork(exported).run(picture)[0]
        after = OnnxNetwork(tmp_path / "wide.onnx").run(picture)[0]
        np.testing.assert_allclose(after, before, rtol=1e-5, atol=1e-6)


def test_convolutions_that_pad_for_themselves_say_the_same(
    exported: Path, pictures: np.ndarray, tmp_path: Path
) -> None:
    plain = tmp_path / "plain.onnx"
    write_plain(exported, plain)
    model = onnx.load(str(plain))
    assert absorb_pads(model) == 2
    assert not [node for node in model.graph.node if node.op_type == "Pad"]
    assert absorb_pads(model) == 0
    onnx.save(model, str(plain))
    for picture in pictures:
        before, after = OnnxNetwork(exported).run(picture), OnnxNetwork(plain).run(picture)
        for one, two in zip(before, after, strict=True):
            np.testing.assert_allclose(two, one, rtol=1e-4, atol=1e-5)


def test_eight_bits_are_near_and_smaller(
    exported: Path, pictures: np.ndarray, tmp_path: Path
) -> None:
    target = tmp_path / "eight.onnx"
    write_eight_bits(exported, target, pictures[:4])
    before, after = OnnxNetwork(exported).run(pictures[4]), OnnxNetwork(target).run(pictures[4])
    for one, two in zip(before, after, strict=True):
        assert one.shape == two.shape
        assert 0 < np.abs(one - two).mean() < 0.1 * one.std()
    weights = {w.name: w for w in onnx.load(str(target)).graph.initializer}
    sevens = [w for w in weights.values() if w.data_type == onnx.TensorProto.INT8]
    assert len(sevens) >= 3
    for weight in sevens:
        assert np.abs(onnx.numpy_helper.to_array(weight).astype(int)).max() <= 64


def test_corrected_biases_keep_the_mean_of_every_channel(
    exported: Path, pictures: np.ndarray, tmp_path: Path
) -> None:
    model = onnx.load(str(exported))
    widen_weights(model)
    onnx.save(model, str(tmp_path / "wide.onnx"))
    plain = tmp_path / "plain.onnx"
    write_plain(tmp_path / "wide.onnx", plain)
    means = {}
    for corrected in (None, False, True):
        model = onnx.load(str(plain))
        if corrected:
            assert make_up_for_rounding(model, pictures) == 3
        if corrected is not None:
            _round_weights(model)
        onnx.save(model, str(tmp_path / "rounded.onnx"))
        network = OnnxNetwork(tmp_path / "rounded.onnx")
        means[corrected] = np.mean([network.run(p)[0].mean(axis=0) for p in pictures], axis=0)
    before, after = (np.abs(means[c] - means[None]).mean() for c in (False, True))
    assert after < 0.5 * before


def _round_weights(model: onnx.ModelProto) -> None:
    read = {node.input[1]: node for node in model.graph.node if node.op_type in ("Conv", "Gemm")}
    for weight in model.graph.initializer:
        if weight.name in read:
            values = onnx.numpy_helper.to_array(weight)
            node = read[weight.name]
            turned = node.op_type == "Gemm" and not any(
                a.name == "transB" and a.i for a in node.attribute
            )
            new = rounded(values.T).T if turned else rounded(values)
            weight.CopyFrom(onnx.numpy_helper.from_array(np.ascontiguousarray(new), weight.name))


def test_rounded_weights_have_129_levels_and_keep_the_largest() -> None:
    weight = np.random.default_rng(0).normal(size=(5, 4000)).astype(np.float32)
    near = rounded(weight)
    assert max(len(np.unique(row)) for row in near) <= 129
    np.testing.assert_allclose(np.abs(near).max(axis=1), np.abs(weight).max(axis=1), rtol=1e-6)
    assert np.abs(near - weight).max() <= np.abs(weight).max() / 128 * 1.001
