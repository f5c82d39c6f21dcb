"""The networks that judge a pair, run by onnxruntime; what the logits of any network mean.

They learn in torch (``posescore/lab/train/positions``): attention over the parts of both bodies, by
which exchanging the athletes exactly exchanges the answer.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from posescore.position.normalise import Array, given, mirrored_picture
from posescore.terms import STATES

_ROWS: Final = 128
"""Pictures at a time: what is in between stays within the processor's cache."""


@dataclass(frozen=True, slots=True, eq=False)
class PairNetworks:
    """Networks in one file: in each round one for each fold of entries, and one for all.

    ``session`` of onnxruntime takes ``pictures`` ``(n, 2, 21, 4)``, as
    :func:`posescore.position.normalise.given` gives them, and the number of a ``fold``; it answers
    with ``logits`` ``(n, n_rounds, n_states)`` of those that never learned from that fold.
    """

    session: Any

    def logits(self, rows: Array, fold: int) -> Array:
        """Logits ``(n, n_rounds, n_states)`` float32 of the networks ignorant of one fold."""
        if not len(rows):
            return np.empty((0, 1, len(STATES)), np.float32)
        asked = {"fold": np.array(fold, np.int64)}
        firsts = range(0, len(rows), _ROWS)
        parts = [{"pictures": rows[first : first + _ROWS], **asked} for first in firsts]
        return np.concatenate([self.session.run(["logits"], part)[0] for part in parts])

    def log_probabilities(
        self, keypoints_px: Array, confidence: Array, folds: Sequence[int]
    ) -> NDArray[np.float64]:
        """Logarithms ``(n, n_states)`` of the geometric mean of what networks answer.

        Those of all ``folds`` see the picture and its mirror image.
        """
        rows = given(keypoints_px, confidence)
        logs = [
            log_softmax(self.logits(side, fold))
            for side in (rows, mirrored_picture(rows))
            for fold in folds
        ]
        return np.asarray(np.mean(logs, axis=(0, 2)))


def softmax(logits: NDArray[Any]) -> NDArray[Any]:
    """Rows along the last axis that sum to 1."""
    grown = np.exp(logits - logits.max(axis=-1, keepdims=True))
    return np.asarray(grown / grown.sum(axis=-1, keepdims=True))


def logistic(log_odds: Any) -> Any:
    """Probability of yes, of numbers or arrays alike."""
    return 1.0 / (1.0 + np.exp(-np.clip(log_odds, -60.0, 60.0)))


def log_softmax(logits: NDArray[Any]) -> NDArray[np.float64]:
    """Logarithms of rows along the last axis that sum to 1."""
    shifted = np.asarray(logits - logits.max(axis=-1, keepdims=True), np.float64)
    return np.asarray(shifted - np.log(np.exp(shifted).sum(axis=-1, keepdims=True)))
