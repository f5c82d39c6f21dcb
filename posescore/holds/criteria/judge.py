"""A small calibrated judge of one question: logistic regression on features and their products.

Products of pairs of features let one answer depend on the view (a shank that looks level says
more when the camera is low). Fitted by Newton's method with a ridge; numpy alone. A missing
feature counts as its average, so that less seen is less sure.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from posescore.errors import OwnFailureError
from posescore.resources import shipped
from posescore.terms import Floats

FORMAT: Final = 2
FILE: Final = "criteria.json"
_FAR: Final = 3.0
"""Standardised features are held within this: beyond it nothing was fitted."""
_RIDGE: Final = 20.0


@dataclass(frozen=True, slots=True, eq=False)
class Judge:
    """One fitted question; ``weight[0]`` is the constant."""

    mean: Floats
    spread: Floats
    weight: Floats

    def log_odds(self, features: Floats) -> Floats:
        """Log odds of yes, ``(n,)``, where yes and no are as frequent before looking."""
        return np.asarray(_expanded(features, self.mean, self.spread) @ self.weight)

    @classmethod
    def fitted(cls, features: Floats, answer: NDArray[np.bool_]) -> Judge:
        """Fit with both answers weighing the same, so that odds before looking can be added."""
        mean, spread = np.nanmean(features, axis=0), np.nanstd(features, axis=0) + 1e-6
        design = _expanded(features, mean, spread)
        share = float(answer.mean())
        counts = np.where(answer, 0.5 / share, 0.5 / (1.0 - share))
        weight = np.zeros(design.shape[1])
        ridge = np.full(len(weight), _RIDGE)
        ridge[0] = 0.0
        for _ in range(20):
            likely = 1.0 / (1.0 + np.exp(-design @ weight))
            slope = design.T @ (counts * (answer - likely)) - ridge * weight
            bend = (design * (counts * likely * (1.0 - likely))[:, None]).T @ design
            step = np.linalg.solve(bend + np.diag(ridge + 1e-6), slope)
            weight += step
            if np.abs(step).max() < 1e-6:
                break
        return cls(mean, spread, weight)

    def to_json(self) -> dict[str, list[float]]:
        """Plain data, five digits."""
        return {
            name: [float(f"{value:.5g}") for value in getattr(self, name)]
            for name in ("mean", "spread", "weight")
        }

    @classmethod
    def from_json(cls, data: Mapping[str, Any]) -> Judge:
        """Inverse of :meth:`to_json`."""
        return cls(*(np.array(data[name], float) for name in ("mean", "spread", "weight")))


def _expanded(features: Floats, mean: Floats, spread: Floats) -> Floats:
    """Constant, standardised features, and all their products."""
    x = np.clip(np.nan_to_num((features - mean) / spread, nan=0.0), -_FAR, _FAR)
    first, second = np.triu_indices(x.shape[1])
    return np.concatenate([np.ones((len(x), 1)), x, x[:, first] * x[:, second] / 2.0], axis=1)


@cache
def criteria_file() -> Mapping[str, Any]:
    """What stands in the file of criteria that comes with the program.

    Raises
    ------
    OwnFailureError
        When the file is broken.
    """
    path = shipped("models", FILE)
    try:
        data = json.loads(path.read_text("utf-8"))
        if data["format"] != FORMAT:
            raise ValueError(f"format {data['format']} is not {FORMAT}")
    except (KeyError, TypeError, ValueError) as error:
        raise OwnFailureError(f"models/{FILE} is broken ({error}): install again.") from error
    return dict(data)


@cache
def shipped_judges() -> Mapping[str, Judge]:
    """The judges that come with the program, by the name of their question.

    Raises
    ------
    OwnFailureError
        When the file is broken.
    """
    try:
        return {n: Judge.from_json(judge) for n, judge in criteria_file()["judges"].items()}
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise OwnFailureError(f"models/{FILE} is broken ({error}): install again.") from error
