"""How likely every state is at every instant."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from posescore.terms import STATES, Provenance


@dataclass(frozen=True, slots=True, eq=False)
class PositionProbabilities:
    """One distribution over :data:`posescore.terms.STATES` per frame.

    Parameters
    ----------
    probability
        ``(n_frames, n_states)`` float64, rows sum to 1, never NaN: where nothing can be said the
        row is the classifier's distribution for "no keypoints".
    time_s
        ``(n_frames,)`` float64, presentation time of each frame.
    end_s
        Seconds at which the footage ends; the frames tile ``[0, end_s)``.
    """

    probability: NDArray[np.float64]
    time_s: NDArray[np.float64]
    end_s: float
    provenance: Provenance

    def __post_init__(self) -> None:
        if self.probability.shape != (len(self.time_s), len(STATES)):
            raise ValueError(f"probabilities must be ({len(self.time_s)}, {len(STATES)})")
        if not np.allclose(self.probability.sum(axis=1), 1.0, atol=1e-6):
            raise ValueError("every row of probabilities must sum to 1")

    def __len__(self) -> int:
        return len(self.time_s)
