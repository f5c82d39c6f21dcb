"""Mount or half guard: a leg between the opponent's legs decides, and geometry is asked again.

Both look alike to a classifier of whole poses, since only a foot differs; the points depend on it.
How much the classifier's word counts here, and how much geometry's, is fitted on figures
(:mod:`posescore.lab.train.criteria.calibration`) and filmed matches
(:mod:`posescore.lab.train.criteria.filmed_matches`).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.holds.criteria.judge import criteria_file, shipped_judges
from posescore.holds.criteria.questions import QUESTIONS
from posescore.holds.geometry import Floats
from posescore.holds.windows import instants
from posescore.pose.track import PairTrack
from posescore.position.probabilities import PositionProbabilities
from posescore.terms import STATES, Athlete, Position, State

WORTH_ASKING: Final = 0.2
"""Probability of both positions together below which the question does not arise."""
_STRONGEST: Final = 5.0
"""Log odds that geometry or the classifier may state of one instant."""
_SMOOTHED: Final = 5
"""Instants averaged: a second. A leg is not caught and freed faster than that."""
_AT_ONCE: Final = 256
"""Instants judged at a time: features and their products take room."""
_QUESTION: Final = next(question for question in QUESTIONS if question.name == "leg_trapped")


@dataclass(frozen=True, slots=True)
class Mix:
    """Log odds of half guard against mount: a constant, and shares of what both sources say."""

    constant: float
    named: float
    judged: float

    def odds(self, named: Floats, judged: Floats) -> Floats:
        """Log odds from the classifier's and from geometry's."""
        weight = np.array([self.constant, self.named, self.judged])
        return np.asarray(mix_columns(named, judged) @ weight)

    @classmethod
    def fitted(cls, named: Floats, judged: Floats, answer: NDArray[np.bool_]) -> Mix:
        """Logistic regression on both, both answers weighing the same."""
        design = mix_columns(named, judged)
        share = float(answer.mean())
        counts = np.where(answer, 0.5 / share, 0.5 / (1.0 - share))
        weight = np.zeros(3)
        for _ in range(20):
            likely = 1.0 / (1.0 + np.exp(-design @ weight))
            bend = (design * (counts * likely * (1.0 - likely))[:, None]).T @ design
            weight += np.linalg.solve(bend, design.T @ (counts * (answer - likely)))
        return cls(*(float(w) for w in weight))


def mix_columns(named: Floats, judged: Floats) -> Floats:
    """What the mix adds up, ``(n, 3)``: one, and both log odds within bounds."""
    bounded = (np.clip(odds, -_STRONGEST, _STRONGEST) for odds in (named, judged))
    return np.stack([np.ones(len(named)), *bounded], axis=1)


@cache
def shipped_mix() -> Mix:
    """The mix that comes with the program."""
    return Mix(*criteria_file()["half_guard"])


def with_trapped_leg(
    probabilities: PositionProbabilities, track: PairTrack
) -> PositionProbabilities:
    """Probabilities in which mount and half guard share what they have by where the feet lie."""
    row = probabilities.probability.copy()
    for upper in Athlete:
        mount = STATES.index(State(Position.MOUNT, upper))
        half = STATES.index(State(Position.HALF_GUARD, upper))
        both = row[:, mount] + row[:, half]
        asked = both > WORTH_ASKING
        if not asked.any():
            continue
        named = log_ratio(row[:, half], row[:, mount])
        odds = shipped_mix().odds(named, judged(track, upper))
        share = np.where(asked, 1.0 / (1.0 + np.exp(-odds)), row[:, half] / np.maximum(both, 1e-12))
        row[:, half], row[:, mount] = both * share, both * (1.0 - share)
    return PositionProbabilities(
        row, probabilities.time_s, probabilities.end_s, probabilities.provenance
    )


def log_ratio(one: Floats, other: Floats) -> Floats:
    """Logarithm of a ratio of probabilities, neither below one in a thousand."""
    return np.asarray(np.log(np.maximum(one, 1e-3) / np.maximum(other, 1e-3)))


def judged(track: PairTrack, upper: Athlete) -> Floats:
    """Log odds of a trapped leg at every frame, ``(n_frames,)``; 0 where unseen."""
    seen = instants(track, 0.0, track.end_s, upper)
    judge = shipped_judges()[_QUESTION.name]
    odds = np.zeros(len(seen))
    for at in range(0, len(seen), _AT_ONCE):
        some = slice(at, at + _AT_ONCE)
        odds[some] = judge.log_odds(_QUESTION.ask(seen.pair_px[some]))
    odds = np.where(seen.seen, np.clip(odds, -_STRONGEST, _STRONGEST), 0.0)
    if len(odds) >= _SMOOTHED:
        odds = np.convolve(odds, np.full(_SMOOTHED, 1.0 / _SMOOTHED), mode="same")
    middle_s = (seen.edges_s[:-1] + seen.edges_s[1:]) / 2
    return np.asarray(np.interp(track.time_s, middle_s, odds))
