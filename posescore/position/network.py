"""Several scikit-learn networks, seen from all four symmetric sides for little more than one.

Every member is ``Pipeline(StandardScaler, MLPClassifier)``. Mirroring the picture and exchanging
the athletes only permute features and flip signs. So features are divided, once for all members,
into the four parts that both symmetries keep or negate; each part meets the first layer's weights
once, and sums and differences of the four products are the first layers of the four sides. Scales
are folded into the weights. What comes out equals the mean of ``predict_proba`` over the four
sides (a test holds that).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from posescore.position.features import MIRROR, MIRROR_SIGN, SWAP
from posescore.simulation.pose_set import swapped_states

Array = NDArray[np.float32]
_ROWS: Final = 1024
"""Rows at a time: hidden layers stay within the processor's cache."""
_SIGNS: Final = np.array([[1, 1], [-1, 1], [1, -1], [-1, -1]], np.float32)
"""What exchanging and what mirroring does to each of the four parts: keep or negate. In the same
order the four sides: as it is, exchanged, mirrored, both."""


@dataclass(frozen=True, slots=True, eq=False)
class _Part:
    """Features that both symmetries keep or negate, one for each set of columns that they move."""

    columns: NDArray[np.int64]  # (n_part,) of the features
    spread: NDArray[np.float64]  # (n_part, n_features) how each stands for its set of columns


def _parts() -> tuple[_Part, ...]:
    identity = np.eye(len(SWAP))
    exchange = identity[:, SWAP]
    mirror = identity[:, MIRROR] * MIRROR_SIGN
    parts = []
    for kept, turned in _SIGNS:
        onto = (identity + kept * exchange) @ (identity + turned * mirror) / 4
        # Columns of one set are the same but for their sign: the first one stands for all.
        first = np.abs(onto).argmax(0)
        columns = np.flatnonzero((onto[first, np.arange(len(SWAP))] != 0) & _leads(onto))
        spread = np.sign(onto[columns]) * (onto[columns] != 0)
        spread *= np.sign(onto[columns, columns])[:, None]
        parts.append(_Part(columns, spread))
    return tuple(parts)


def _leads(onto: NDArray[np.float64]) -> NDArray[np.bool_]:
    lowest = (onto != 0).argmax(0)
    return np.asarray(lowest == np.arange(len(onto)))


_PARTS: Final = _parts()


def divided(features: Array) -> list[Array]:
    """Features ``(n, n_features)`` as the four parts of them, ``(n, n_part)`` each."""
    exchanged = features[:, SWAP]
    even, odd = features + exchanged, features - exchanged
    given = []
    for part, (kept, turned) in zip(_PARTS, _SIGNS, strict=True):
        whole = even if kept > 0 else odd
        there = whole[:, MIRROR[part.columns]] * (turned * MIRROR_SIGN[part.columns])
        given.append((whole[:, part.columns] + there) / 4)
    return given


@dataclass(frozen=True, slots=True, eq=False)
class SymmetricNetwork:
    """One member: its layers, the first one for each part of the features."""

    first: tuple[Array, ...]  # (n_part, n_hidden) each
    first_bias: Array  # (n_hidden,)
    layers: tuple[tuple[Array, Array], ...]
    swapped: NDArray[np.int64]

    @classmethod
    def of_pipeline(cls, pipeline: Any) -> SymmetricNetwork:
        """Read weights and scales of a fitted ``Pipeline(StandardScaler, MLPClassifier)``."""
        scaler, network = pipeline[0], pipeline[-1]
        weight = np.asarray(network.coefs_[0], np.float64) / np.asarray(scaler.scale_)[:, None]
        bias = np.asarray(network.intercepts_[0]) - np.asarray(scaler.mean_) @ weight
        layers = tuple(
            (np.asarray(w, np.float32), np.asarray(b, np.float32))
            for w, b in zip(network.coefs_[1:], network.intercepts_[1:], strict=True)
        )
        first = tuple((part.spread @ weight).astype(np.float32) for part in _PARTS)
        return cls(first, bias.astype(np.float32), layers, swapped_states())

    def probabilities(self, features: Array) -> NDArray[np.float64]:
        """Mean over the four sides, ``(n, n_states)``; rows sum to 1."""
        return mean_of([self], features)

    def of_parts(self, parts: Sequence[Array]) -> NDArray[np.float64]:
        """The same for what :func:`divided` gives."""
        product = [rows @ weight for rows, weight in zip(parts, self.first, strict=True)]
        product[0] += self.first_bias
        total = np.zeros((len(parts[0]), len(self.swapped)))
        for exchanged, mirrored in _SIGNS:
            values = product[0] + exchanged * product[1]
            values += mirrored * (product[2] + exchanged * product[3])
            given = self._rest(values)
            total += given[:, self.swapped] if exchanged < 0 else given
        return total / 4

    def _rest(self, values: Array) -> NDArray[np.float64]:
        for weight, bias in self.layers:
            np.maximum(values, 0, out=values)
            values = values @ weight
            values += bias
        return softmax(values).astype(np.float64)


def softmax(logits: NDArray[Any]) -> NDArray[Any]:
    """Rows that sum to 1."""
    grown = np.exp(logits - logits.max(axis=1, keepdims=True))
    return np.asarray(grown / grown.sum(axis=1, keepdims=True))


def mean_of(members: Sequence[SymmetricNetwork], features: Array) -> NDArray[np.float64]:
    """Mean of the members' probabilities, ``(n, n_states)``."""
    total = np.zeros((len(features), len(members[0].swapped)))
    for start in range(0, len(features), _ROWS):
        parts = divided(features[start : start + _ROWS])
        for member in members:
            total[start : start + _ROWS] += member.of_parts(parts)
    return total / len(members)
