"""Writes the networks that judge a pair as one ONNX file, and reads their weights back.

``python -m posescore.lab.train.positions.classifier`` calls it. The networks of one round stand in
stacked weights, of which the graph takes those of a fold that it is given.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np
import onnx
from numpy.typing import NDArray
from onnx import TensorProto, helper, numpy_helper

from posescore.lab.train.onnx_files import OPSET, halve_weights, put_metadata, weights_by_name
from posescore.lab.train.positions.tokens import (
    EVEN,
    MOST,
    N_TOKENS,
    PER_KEYPOINT,
    SIDED,
    WAVES,
    answer_columns,
    gathering,
)
from posescore.position.classifier import FORMAT
from posescore.terms import N_KEYPOINTS, STATES

Weights = Mapping[str, NDArray[Any]]

NAMES: Final = (
    "embed", "token", "look", "heed", "tell", "widen", "widen_bias", "narrow", "own", "other",
    "bias", "answer", "answer_bias",
)  # fmt: skip
"""Weights of a network, as ``Stack.weights`` gives them."""
_IR_VERSION: Final = 8
"""What onnxruntime 1.24 reads at least."""


def write_networks(
    path: Path, networks: Sequence[Weights], n_folds: int, about: Mapping[str, Any]
) -> None:
    """Write networks round by round and fold by fold, with what the classifier reads beside."""
    graph = _Graph()
    seen = graph.seen()
    per_round = n_folds + 1
    rounds = [networks[i : i + per_round] for i in range(0, len(networks), per_round)]
    answers = [graph.answers(seen, f"{turn}.", each) for turn, each in enumerate(rounds)]
    graph.nodes.append(helper.make_node("Concat", answers, ["logits"], axis=1))
    model = helper.make_model(
        graph.whole(len(rounds)), opset_imports=[helper.make_opsetid("", OPSET)]
    )
    model.ir_version = _IR_VERSION
    halve_weights(model)
    put_metadata(model, FORMAT, about)
    onnx.checker.check_model(model)
    path.parent.mkdir(parents=True, exist_ok=True)
    unfinished = path.with_suffix(".unfinished")
    onnx.save(model, str(unfinished))
    unfinished.replace(path)


def networks_of(path: Path) -> list[dict[str, NDArray[np.float32]]]:
    """The weights that a file was written of, in the same order."""
    kept = weights_by_name(onnx.load(str(path)))
    found: list[dict[str, NDArray[np.float32]]] = []
    turn = 0
    while f"{turn}.embed" in kept:
        stacked = {name: kept[f"{turn}.{name}"].astype(np.float32) for name in NAMES}
        found += [
            {name: weight[k] for name, weight in stacked.items()}
            for k in range(len(stacked["embed"]))
        ]
        turn += 1
    return found


def _stacked(networks: Sequence[Weights], name: str) -> NDArray[np.float16]:
    """Weights of several networks, as exact as they are kept for training to go on from."""
    return np.stack([each[name] for each in networks]).astype(np.float16)


class _Graph:
    """Nodes and weights as they come."""

    def __init__(self) -> None:
        self.nodes: list[onnx.NodeProto] = []
        self.weights: list[onnx.TensorProto] = []

    def whole(self, n_rounds: int) -> onnx.GraphProto:
        """The graph with its inputs and its output."""
        pictures = ["pictures", 2, N_KEYPOINTS, 4]
        return helper.make_graph(
            self.nodes,
            "pair_networks",
            [
                helper.make_tensor_value_info("pictures", TensorProto.FLOAT, pictures),
                helper.make_tensor_value_info("fold", TensorProto.INT64, []),
            ],
            [
                helper.make_tensor_value_info(
                    "logits", TensorProto.FLOAT, ["pictures", n_rounds, len(STATES)]
                )
            ],
            self.weights,
        )

    def constant(self, values: object, name: str = "") -> str:
        """A weight, or any other constant; its name."""
        name = name or f"constant_{len(self.weights)}"
        array = np.asarray(values)
        kind = np.float32 if array.dtype.kind == "f" else np.int64
        self.weights.append(numpy_helper.from_array(array.astype(kind), name))
        return name

    def split(self, x: str, sizes: Sequence[int], axis: int) -> list[str]:
        """Parts along an axis."""
        parts = [f"part_{len(self.nodes)}_{k}" for k in range(len(sizes))]
        node = helper.make_node("Split", [x, self.constant(sizes)], parts, axis=axis)
        self.nodes.append(node)
        return parts

    def do(self, kind: str, *given: str, **settings: Any) -> str:
        """One operation; the name of what it makes."""
        made = f"made_{len(self.nodes)}"
        self.nodes.append(helper.make_node(kind, list(given), [made], **settings))
        return made

    def shaped(self, x: str, *shape: int) -> str:
        """As another shape; 0 keeps an axis, -1 takes the rest."""
        return self.do("Reshape", x, self.constant(shape))

    def even(self, x: str) -> str:
        """Vectors of root mean square 1."""
        square = self.do("ReduceMean", self.do("Mul", x, x), axes=[-1], keepdims=1)
        return self.do("Div", x, self.do("Sqrt", self.do("Add", square, self.constant(1e-5))))

    def seen(self) -> str:
        """``(13, 2 n, 80)``: of each token its keypoints, with waves of their coordinates."""
        xy, known, _ = self.split("pictures", (2, 1, 1), 3)
        waves = self.constant(np.array(WAVES))
        phase = self.do("Mul", self.do("Unsqueeze", xy, self.constant([-1])), waves)
        phase = self.shaped(phase, 0, 0, 0, -1, 1)
        both = self.do("Concat", self.do("Sin", phase), self.do("Cos", phase), axis=-1)
        both = self.do("Mul", self.shaped(both, 0, 0, 0, 4 * len(WAVES)), known)
        keypoints = self.do("Concat", "pictures", both, axis=-1)
        keypoints = self.do("Pad", keypoints, self.constant([0, 0, 0, 0, 0, 0, 1, 0]))
        gathered = self.do("Gather", keypoints, self.constant(gathering().ravel()), axis=2)
        tokens = self.shaped(gathered, -1, N_TOKENS - 1, MOST * PER_KEYPOINT)
        return self.do("Transpose", tokens, perm=[1, 0, 2])

    def answers(self, seen: str, prefix: str, networks: Sequence[Weights]) -> str:
        """Logits ``(n, 1, n_states)`` of the network of the fold that is asked for."""
        weight = {
            name: self.do(
                "Gather",
                self.constant(_stacked(networks, name), prefix + name),
                "fold",
                axis=0,
            )
            for name in NAMES
        }
        layers, heads = networks[0]["heed"].shape[:2]
        width = networks[0]["token"].shape[1]
        x = self.do("Transpose", self.do("MatMul", seen, weight["embed"]), perm=[1, 0, 2])
        x = self.do("Pad", x, self.constant([0, 0, 0, 0, 1, 0]))
        x = self.shaped(self.do("Add", x, weight["token"]), -1, 2 * N_TOKENS, width)
        for layer in range(layers):
            at = self.constant(layer)
            of_layer = {
                name: self.do("Gather", weight[name], at, axis=0)
                for name in ("look", "heed", "tell", "widen", "widen_bias", "narrow")
            }
            x = self._look_around(x, of_layer, heads, width)
            wide = self.do("MatMul", self.even(x), of_layer["widen"])
            wide = self.do("Relu", self.do("Add", wide, of_layer["widen_bias"]))
            x = self.do("Add", x, self.do("MatMul", wide, of_layer["narrow"]))
        return self._answer(x, weight, width)

    def _look_around(self, x: str, weight: Mapping[str, str], heads: int, width: int) -> str:
        asked = self.do("MatMul", self.even(x), weight["look"])
        asked = self.shaped(asked, 0, 2 * N_TOKENS, 3 * heads, width // heads)
        asked = self.do("Transpose", asked, perm=[0, 2, 1, 3])
        query, key, value = self.split(asked, [heads] * 3, 1)
        own, other = self.split(weight["heed"], [N_TOKENS] * 2, 2)
        turned = self.do("Concat", other, own, axis=2)
        table = self.do("Concat", weight["heed"], turned, axis=1)
        score = self.do("MatMul", query, self.do("Transpose", key, perm=[0, 1, 3, 2]))
        attention = self.do("Softmax", self.do("Add", score, table), axis=-1)
        heard = self.do("Transpose", self.do("MatMul", attention, value), perm=[0, 2, 1, 3])
        heard = self.shaped(heard, 0, 2 * N_TOKENS, width)
        return self.do("Add", x, self.do("MatMul", heard, weight["tell"]))

    def _answer(self, x: str, weight: Mapping[str, str], width: int) -> str:
        x = self.shaped(x, -1, 2, N_TOKENS, width)
        whole = self.even(self.do("Gather", x, self.constant(N_TOKENS - 1), axis=2))
        turned = self.do("Gather", whole, self.constant([1, 0]), axis=1)
        hidden = self.do(
            "Add",
            self.do("MatMul", whole, weight["own"]),
            self.do("MatMul", turned, weight["other"]),
        )
        hidden = self.do("Relu", self.do("Add", hidden, weight["bias"]))
        answers = self.do("MatMul", hidden, weight["answer"])
        answers = self.do("Add", answers, weight["answer_bias"])
        sided, even = self.split(answers, (len(SIDED), len(EVEN)), 2)
        sided = self.shaped(sided, 0, 2 * len(SIDED))
        both = self.do("Concat", sided, self.do("ReduceMean", even, axes=[1], keepdims=0), axis=1)
        logits = self.do("Gather", both, self.constant(answer_columns()), axis=1)
        return self.do("Unsqueeze", logits, self.constant([1]))
