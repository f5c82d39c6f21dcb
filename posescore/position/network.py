"""Several scikit-learn networks, seen from all four symmetric sides, as a few matrix products.

Every member is ``Pipeline(StandardScaler, MLPClassifier)``. Mirroring the picture and exchanging
the athletes only permute features and flip signs, so instead of the features the first layer's
weights are permuted, once, and the mean over the four sides costs four first layers and no second
look at the keypoints. Scales are folded into the first layer. What comes out equals the mean of
``predict_proba`` over the four sides (a test holds that).
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


@dataclass(frozen=True, slots=True, eq=False)
class SymmetricNetwork:
    """One member: its layers, the first one for each of the four sides."""

    first: Array  # (4, n_features, n_hidden)
    first_bias: Array  # (4, n_hidden)
    layers: tuple[tuple[Array, Array], ...]
    swapped: NDArray[np.int64]

    @classmethod
    def of_pipeline(cls, pipeline: Any) -> SymmetricNetwork:
        """Read weights and scales of a fitted ``Pipeline(StandardScaler, MLPClassifier)``."""
        scaler, network = pipeline[0], pipeline[-1]
        scale = np.asarray(scaler.scale_, np.float64)
        weight = np.asarray(network.coefs_[0], np.float64) / scale[:, None]
        bias = np.asarray(network.intercepts_[0]) - np.asarray(scaler.mean_) @ weight
        # Row i of a side's weights is met by the feature that stands in for feature i there.
        plain, mirror = np.empty_like(weight), np.empty_like(weight)
        plain[SWAP] = weight
        mirror[MIRROR] = MIRROR_SIGN[:, None] * weight
        both = np.empty_like(weight)
        both[MIRROR] = MIRROR_SIGN[:, None] * plain
        sides = np.stack([weight, plain, mirror, both]).astype(np.float32)
        layers = tuple(
            (np.asarray(w, np.float32), np.asarray(b, np.float32))
            for w, b in zip(network.coefs_[1:], network.intercepts_[1:], strict=True)
        )
        biases = np.repeat(bias[None].astype(np.float32), 4, axis=0)
        return cls(sides, biases, layers, swapped_states())

    def probabilities(self, features: Array) -> NDArray[np.float64]:
        """Mean over the four sides, ``(n, n_states)``; rows sum to 1."""
        out = np.empty((len(features), len(self.swapped)))
        for start in range(0, len(features), _ROWS):
            rows = features[start : start + _ROWS]
            total = np.zeros((len(rows), len(self.swapped)))
            for side in range(4):
                given = self._one_side(rows, side)
                total += given[:, self.swapped] if side in (1, 3) else given
            out[start : start + _ROWS] = total / 4
        return out

    def _one_side(self, rows: Array, side: int) -> NDArray[np.float64]:
        values = rows @ self.first[side]
        values += self.first_bias[side]
        for weight, bias in self.layers:
            np.maximum(values, 0, out=values)
            values = values @ weight
            values += bias
        return softmax(values.astype(np.float64))


def softmax(logits: NDArray[np.float64]) -> NDArray[np.float64]:
    """Rows that sum to 1."""
    grown = np.exp(logits - logits.max(axis=1, keepdims=True))
    return np.asarray(grown / grown.sum(axis=1, keepdims=True))


def mean_of(members: Sequence[SymmetricNetwork], features: Array) -> NDArray[np.float64]:
    """Mean of the members' probabilities, ``(n, n_states)``."""
    total = np.zeros((len(features), len(members[0].swapped)))
    for member in members:
        total += member.probabilities(features)
    return total / len(members)
