"""The network that judges a pair: attention over the parts of both bodies, in plain numpy.

Every athlete is fourteen tokens: the head (nose, eyes, ears), twelve joints (an ankle with its heel
and toe) and one for the whole. In each layer every token looks at all tokens of both athletes; how
much a kind of token heeds another, of its own body or of the opponent's, is a learned table. No
token knows whether it is A's or B's, so exchanging the athletes exactly exchanges the answer.

It learns in torch (:mod:`posescore.lab.train.positions`); here only arithmetic is left.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from posescore.position.normalise import Array
from posescore.terms import KEYPOINT_INDEX as K
from posescore.terms import STATES, Position

_LIMBS: Final = ("shoulder", "elbow", "wrist", "hip", "knee", "ankle")
_FEET: Final = ("ankle", "heel", "toe")
TOKEN_KEYPOINTS: Final[tuple[tuple[int, ...], ...]] = (
    tuple(K[name] for name in ("nose", "left_eye", "right_eye", "left_ear", "right_ear")),
    *(
        tuple(K[f"{side}_{part}"] for part in (_FEET if limb == "ankle" else (limb,)))
        for limb in _LIMBS
        for side in ("left", "right")
    ),
)
"""Keypoints of each token but the last, which stands for the whole athlete."""
N_TOKENS: Final = len(TOKEN_KEYPOINTS) + 1
MOST: Final = max(map(len, TOKEN_KEYPOINTS))
WAVES: Final = (1.0, 2.0, 4.0)
"""Coordinates are also given as sines and cosines of these multiples: fine distances show."""
PER_KEYPOINT: Final = 4 + 4 * len(WAVES)

SIDED: Final = tuple(p for p in Position if p.has_upper)
"""Positions answered once for either athlete as the upper one."""
EVEN: Final = tuple(p for p in Position if not p.has_upper)
_ROWS: Final = 64
"""Pictures at a time: what is in between stays within the processor's cache."""
_MOST_HEEDED: Final = 60.0
"""Exponents end here, far above what a trained network asks for, and never overflow."""


def answer_columns() -> NDArray[np.int64]:
    """``(n_states,)``: where each state stands among A's answers, then B's, then both's mean."""
    index: list[int] = []
    for state in STATES:
        if state.upper is None:
            index.append(2 * len(SIDED) + EVEN.index(state.position))
        else:
            index.append(state.upper.slot * len(SIDED) + SIDED.index(state.position))
    return np.array(index)


def gathering() -> NDArray[np.int64]:
    """``(13, 5)``: keypoints of each token, 21 where a token has fewer."""
    return np.array([[*k, *[len(K)] * (MOST - len(k))] for k in TOKEN_KEYPOINTS])


_COLUMNS: Final = answer_columns()
_GATHER: Final = gathering()


@dataclass(frozen=True, slots=True, eq=False)
class PairNetwork:
    """Weights of one network.

    Parameters
    ----------
    embed
        ``(13, 5 * 16, width)`` from a token's keypoints to the token.
    token
        ``(14, width)`` added to each token.
    layers
        For each layer ``look`` ``(width, 3 * width)``, ``heed`` ``(heads, 14, 28)`` (own body's
        tokens first, then the opponent's), ``tell`` ``(width, width)``, ``widen``
        ``(width, wide)``, ``widen_bias`` and ``narrow`` ``(wide, width)``.
    own, other, bias, answer, answer_bias
        From both whole-athlete tokens to the logits of an athlete as the upper one.
    """

    embed: Array
    token: Array
    layers: tuple[Mapping[str, Array], ...]
    own: Array
    other: Array
    bias: Array
    answer: Array
    answer_bias: Array

    @classmethod
    def of_weights(cls, weights: Mapping[str, Any]) -> PairNetwork:
        """A network of named arrays; those of layers have a leading axis of layers."""
        full = {name: np.asarray(value, np.float32) for name, value in weights.items()}
        names = ("look", "heed", "tell", "widen", "widen_bias", "narrow")
        layers = []
        for i in range(len(full["look"])):
            layer = {name: np.ascontiguousarray(full[name][i]) for name in names}
            layer["heed"] = _of_both(layer["heed"])
            layers.append(layer)
        rest = ("embed", "token", "own", "other", "bias", "answer", "answer_bias")
        return cls(layers=tuple(layers), **{name: full[name] for name in rest})

    def logits(self, rows: Array) -> Array:
        """Logits ``(n, n_states)`` for what :func:`posescore.position.normalise.given` gives."""
        parts = [self._logits(rows[i : i + _ROWS]) for i in range(0, len(rows), _ROWS)]
        return np.concatenate(parts) if parts else np.empty((0, len(STATES)), np.float32)

    def _logits(self, rows: Array) -> Array:
        x = self._tokens(rows)
        for layer in self.layers:
            x = _look_around(x, layer)
            wide = _even(x).reshape(-1, x.shape[-1]) @ layer["widen"]
            wide += layer["widen_bias"]
            np.maximum(wide, 0, out=wide)
            x += (wide @ layer["narrow"]).reshape(x.shape)
        whole = _even(x.reshape(len(rows), 2, N_TOKENS, -1)[:, :, -1])
        hidden = whole @ self.own + whole[:, ::-1] @ self.other + self.bias
        answers = np.maximum(hidden, 0) @ self.answer + self.answer_bias
        sided = answers[..., : len(SIDED)].reshape(len(rows), -1)
        even = answers[..., len(SIDED) :].mean(1)
        return np.asarray(np.concatenate([sided, even], 1)[:, _COLUMNS], np.float32)

    def _tokens(self, rows: Array) -> Array:
        """``(n, 28, width)``: A's tokens, then B's."""
        count, width = len(rows), self.token.shape[1]
        phase = rows[..., :2, None] * np.array(WAVES, np.float32)
        waves = np.stack([np.sin(phase), np.cos(phase)], -1).reshape(count, 2, -1, 4 * len(WAVES))
        seen = np.concatenate([rows, waves * rows[..., 2:3]], -1)
        seen = np.pad(seen, ((0, 0), (0, 0), (0, 1), (0, 0)))[:, :, _GATHER]
        seen = seen.reshape(2 * count, N_TOKENS - 1, -1).transpose(1, 0, 2)
        tokens = np.zeros((2 * count, N_TOKENS, width), np.float32)
        tokens[:, :-1] = np.matmul(seen, self.embed).transpose(1, 0, 2)
        tokens += self.token
        return tokens.reshape(count, 2 * N_TOKENS, width)


def _of_both(heed: Array) -> Array:
    """The table of all tokens, ``(heads, 28, 28)``, from one athlete's ``(heads, 14, 28)``."""
    turned = np.concatenate([heed[..., N_TOKENS:], heed[..., :N_TOKENS]], -1)
    return np.concatenate([heed, turned], 1)


def _even(x: Array) -> Array:
    """Vectors of root mean square 1."""
    square = np.einsum("...d,...d->...", x, x) / x.shape[-1]
    return np.asarray(x / np.sqrt(square + 1e-5)[..., None], np.float32)


def _look_around(x: Array, layer: Mapping[str, Array]) -> Array:
    count, tokens, width = x.shape
    heads = len(layer["heed"])
    asked = (_even(x).reshape(-1, width) @ layer["look"]).reshape(count, tokens, 3, heads, -1)
    query, key, value = asked.transpose(2, 0, 3, 1, 4)
    share = np.matmul(query, key.transpose(0, 1, 3, 2))
    share += layer["heed"]
    np.exp(np.minimum(share, _MOST_HEEDED, out=share), out=share)
    total = share.reshape(-1, tokens) @ np.ones((tokens, 1), np.float32)
    heard = np.matmul(share, value) / total.reshape(*share.shape[:3], 1)
    heard = heard.transpose(0, 2, 1, 3).reshape(-1, width)
    return np.asarray(x + (heard @ layer["tell"]).reshape(x.shape), np.float32)


def softmax(logits: NDArray[Any]) -> NDArray[Any]:
    """Rows that sum to 1."""
    grown = np.exp(logits - logits.max(axis=1, keepdims=True))
    return np.asarray(grown / grown.sum(axis=1, keepdims=True))


def logistic(log_odds: Any) -> Any:
    """Probability of yes, of numbers or arrays alike."""
    return 1.0 / (1.0 + np.exp(-np.clip(log_odds, -60.0, 60.0)))


def log_softmax(logits: NDArray[Any]) -> NDArray[np.float64]:
    """Logarithms of rows that sum to 1."""
    shifted = np.asarray(logits - logits.max(axis=1, keepdims=True), np.float64)
    return np.asarray(shifted - np.log(np.exp(shifted).sum(axis=1, keepdims=True)))
