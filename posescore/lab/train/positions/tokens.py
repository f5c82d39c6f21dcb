"""What a network of a pair sees and answers: tokens of both bodies, states seen from either side.

Every athlete is fourteen tokens: the head (nose, eyes, ears), twelve joints (an ankle with its heel
and toe) and one for the whole. In each layer every token looks at all tokens of both athletes; how
much a kind of token heeds another, of its own body or of the opponent's, is a learned table. No
token knows whether it is A's or B's, so exchanging the athletes exactly exchanges the answer.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

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
