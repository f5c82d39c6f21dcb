"""Mount or half guard: a leg between the opponent's legs decides, and geometry is asked again.

Both look alike to a classifier of whole poses, since only a foot differs; the points depend on it.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from posescore.holds.geometry import Floats
from posescore.holds.instants import instants
from posescore.holds.judge import shipped_judges
from posescore.holds.questions import QUESTIONS
from posescore.pose.track import PairTrack
from posescore.position.probabilities import PositionProbabilities
from posescore.terms import STATES, Athlete, Position, State

_WORTH_ASKING: Final = 0.2
"""Probability of both positions together below which the question does not arise."""
_STRONGEST: Final = 2.5
"""Log odds. The classifier has looked at the same keypoints: geometry moves it, no more."""
_SMOOTHED: Final = 5
"""Instants averaged: a second. A leg is not caught and freed faster than that."""
_QUESTION: Final = next(question for question in QUESTIONS if question.name == "leg_trapped")


def with_trapped_leg(
    probabilities: PositionProbabilities, track: PairTrack
) -> PositionProbabilities:
    """Probabilities in which mount and half guard share what they have by where the feet lie."""
    row = probabilities.probability.copy()
    for upper in Athlete:
        mount = STATES.index(State(Position.MOUNT, upper))
        half = STATES.index(State(Position.HALF_GUARD, upper))
        both = row[:, mount] + row[:, half]
        if not (both > _WORTH_ASKING).any():
            continue
        odds = np.exp(np.where(both > _WORTH_ASKING, _log_odds(track, upper), 0.0))
        caught, free = row[:, half] * odds, row[:, mount]
        share = caught / np.maximum(caught + free, 1e-12)
        row[:, half], row[:, mount] = both * share, both * (1.0 - share)
    return PositionProbabilities(
        row, probabilities.time_s, probabilities.end_s, probabilities.provenance
    )


def _log_odds(track: PairTrack, upper: Athlete) -> Floats:
    """Log odds of a trapped leg at every frame, ``(n_frames,)``; 0 where unseen."""
    seen = instants(track, 0.0, track.end_s, upper)
    odds = shipped_judges()[_QUESTION.name].log_odds(_QUESTION.ask(seen.pair_px))
    odds = np.clip(odds, -_STRONGEST, _STRONGEST) * _QUESTION.shown(seen.pair_px)
    odds = np.where(seen.seen, odds, 0.0)
    if len(odds) >= _SMOOTHED:
        odds = np.convolve(odds, np.full(_SMOOTHED, 1.0 / _SMOOTHED), mode="same")
    middle_s = (seen.edges_s[:-1] + seen.edges_s[1:]) / 2
    return np.asarray(np.interp(track.time_s, middle_s, odds))
