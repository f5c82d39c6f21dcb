"""What a film says at every instant, and of stretches of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from posescore import __version__
from posescore.holds.decoding.grammar import Grammar
from posescore.holds.film.instants import INSTANT_S, Instants
from posescore.holds.film.outputs import DECISIVE, N_WAYS
from posescore.pose.track import PairTrack
from posescore.position.network import logistic, softmax
from posescore.position.probabilities import PositionProbabilities
from posescore.terms import STATES, Athlete, Floats, Position, Provenance, State, Step

SCRAMBLE: Final = STATES.index(State(Position.SCRAMBLE))
ENOUGH: Final = 8
"""Keypoints of both athletes together below which an instant says nothing of the position."""
_LEAST: Final = 1e-3
"""No probability is taken to be nearer to 0 or 1."""


@dataclass(frozen=True, slots=True)
class Calibration:
    """What makes the model's answers probabilities that hold, fitted on matches left out.

    Parameters
    ----------
    states, scramble
        Logits of states are multiplied by the one; the other is added to the scramble's.
    criteria, usual
        Log odds of a whole hold are multiplied by the one and the other is added, for each
        criterion.
    prior
        Log odds of each criterion where nothing is shown.
    doubt
        How many instants' worth the prior counts, for each criterion.
    ways, ways_doubt, given_up, given_up_prior, given_up_doubt
        The same of who brought a match to the mat, and of positions given up.
    hold, hold_usual
        Log odds that a hold is in its position are multiplied by the one, the other is added.
    """

    states: float
    scramble: float
    criteria: tuple[float, ...]
    usual: tuple[float, ...]
    prior: tuple[float, ...]
    doubt: tuple[float, ...]
    ways: float
    ways_doubt: float
    given_up: float
    given_up_prior: float
    given_up_doubt: float
    hold: float = 1.0
    hold_usual: float = 0.0

    def of_hold(self, probability: float) -> float:
        """Calibrated probability that a hold is in its position."""
        sure = min(max(probability, _LEAST), 1.0 - _LEAST)
        log_odds = np.log(sure / (1.0 - sure))
        return float(logistic(self.hold * log_odds + self.hold_usual))

    def to_json(self) -> dict[str, Any]:
        """Plain data, five digits."""
        return {
            name: [float(f"{v:.5g}") for v in value] if isinstance(value, tuple)
            else float(f"{value:.5g}")
            for name, value in asdict(self).items()
        }  # fmt: skip

    @classmethod
    def from_json(cls, data: Mapping[str, Any]) -> Calibration:
        """Inverse of :meth:`to_json`."""
        told: dict[str, Any] = {n: tuple(v) if isinstance(v, list) else v for n, v in data.items()}
        return cls(**told)


@dataclass(frozen=True, slots=True, eq=False)
class FilmReading:
    """A film, instant by instant.

    Parameters
    ----------
    instants
        Keypoints of ``n`` instants.
    states
        ``(n, n_states)`` float64 probabilities.
    criteria, shown
        ``(n, 2, n_criteria)`` float64: log odds of yes with either athlete as the upper one
        (axis 1), and how much the instant shows of it, 0 to 1.
    ways, ways_shown
        ``(n, n_ways)`` logits of :data:`posescore.holds.film.outputs.WAYS`, and ``(n,)`` likewise.
    given_up, given_up_shown
        ``(n, 2)`` log odds that an athlete gives a position up, and likewise.
    seen
        ``(n,)`` bool: enough keypoints to say something.
    calibration, grammar, step
        How answers become probabilities; what follows what in matches; for the provenance.
    """

    instants: Instants
    states: Floats
    criteria: Floats
    shown: Floats
    ways: Floats
    ways_shown: Floats
    given_up: Floats
    given_up_shown: Floats
    seen: NDArray[np.bool_]
    calibration: Calibration
    grammar: Grammar
    step: Step

    @classmethod
    def calibrated(
        cls,
        film: Instants,
        raw: Mapping[str, Floats],
        calibration: Calibration,
        grammar: Grammar,
        step: Step,
    ) -> FilmReading:
        """From raw answers."""
        logits = calibration.states * raw["states"]
        logits[:, SCRAMBLE] += calibration.scramble
        states = softmax(logits)
        known = np.isfinite(film.keypoints_px[..., 0])
        return cls(
            film,
            states,
            raw["criteria"][..., 0],
            logistic(raw["criteria"][..., 1]) * _decisive_seen(known),
            raw["ways"][:, :N_WAYS],
            logistic(raw["ways"][:, N_WAYS]),
            raw["given_up"][..., 0],
            logistic(raw["given_up"][..., 1]),
            known.sum(axis=(1, 2)) >= ENOUGH,
            calibration,
            grammar,
            step,
        )

    def __len__(self) -> int:
        return len(self.states)

    def at(self, time_s: float) -> int:
        """Index of the instant that begins nearest to a time; ``n`` for the end."""
        if time_s >= self.instants.end_s - 1e-6:
            return len(self)
        return int(np.clip(round(time_s / INSTANT_S), 0, len(self)))

    def slice_of(self, start_s: float, end_s: float) -> slice:
        """Instants of a stretch."""
        return slice(self.at(start_s), self.at(end_s))

    def of_instants(self) -> PositionProbabilities:
        """The states, a row for every instant."""
        return PositionProbabilities(
            self.states,
            self.instants.edges_s[:-1],
            self.instants.end_s,
            Provenance(__version__, (self.step,)),
        )

    def of_frames(self, track: PairTrack) -> PositionProbabilities:
        """The states, a row for every frame of the track that was read."""
        row = np.floor((track.time_s + 1e-6) / INSTANT_S).astype(np.intp).clip(0, len(self) - 1)
        rows = self.states[row] if len(self) else self.states
        return PositionProbabilities(
            rows, track.time_s, track.end_s, track.provenance.then(self.step)
        )

    def answer(self, part: slice, upper: Athlete) -> tuple[Floats, Floats]:
        """Log odds of every criterion over a stretch, and how much of it was shown.

        Returns
        -------
        log_odds
            ``(n_criteria,)``: instants weighed by what they show, against what is usual.
        shown
            ``(n_criteria,)`` 0 to 1: how much of the answer is seen, the rest is what is usual.
        """
        c = self.calibration
        shown = self.shown[part, upper.slot]
        total, doubt = shown.sum(axis=0), np.array(c.doubt)
        odds = (shown * self.criteria[part, upper.slot]).sum(axis=0) + doubt * np.array(c.prior)
        odds = np.array(c.criteria) * odds / (total + doubt) + np.array(c.usual)
        return odds, total / (total + doubt)

    def way_down(self, part: slice) -> Floats:
        """Probability of each of :data:`posescore.holds.film.outputs.WAYS` over a passage."""
        shown = self.ways_shown[part]
        logits = (shown[:, None] * self.ways[part]).sum(axis=0)
        logits = self.calibration.ways * logits / (shown.sum() + self.calibration.ways_doubt)
        return np.asarray(softmax(logits[None])[0], np.float64)

    def gave_up(self, part: slice, upper: Athlete) -> float:
        """Probability that the upper athlete of the hold before gave it up."""
        c = self.calibration
        shown = self.given_up_shown[part, upper.slot]
        odds = (shown * self.given_up[part, upper.slot]).sum() + c.given_up_doubt * c.given_up_prior
        return float(logistic(c.given_up * odds / (shown.sum() + c.given_up_doubt)))


def _decisive_seen(known: NDArray[np.bool_]) -> Floats:
    """Of the keypoints that each criterion hangs on, those there are: ``(n, 2, n_criteria)``."""
    seen = np.empty((len(known), 2, len(DECISIVE)))
    for column, decisive in enumerate(DECISIVE):
        for slot in (0, 1):
            there = [known[:, slot if own else 1 - slot, keypoint] for own, keypoint in decisive]
            both = np.asarray(known.any(axis=2)).all(axis=1)
            seen[:, slot, column] = both * (np.mean(there, axis=0) if there else 1.0)
    return seen
