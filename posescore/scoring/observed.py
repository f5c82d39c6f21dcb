"""How often proposals from the program's own reading turned out right, given how sure they were.

The engine multiplies the probabilities of what a proposal rests on. They are fitted one by one, on
other material, and are not independent; so what comes out is brought to what was observed on
filmed matches, end to end: log odds ``constant + share * (the engine's log odds)``. A proposal that
rests on what people said alone is certain to the engine, and stays so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.holds.criteria.judge import criteria_file
from posescore.scoring.proposal import Proposal, Ruling

Floats = NDArray[np.float64]

_BOUND: Final = 1e-4
"""Nearer to 0 or 1 the engine's word is taken as this near when fitting."""
_STEPS: Final = 50
_FAR: Final = 500.0
_RIDGE: Final = 3.0


@dataclass(frozen=True, slots=True)
class Observed:
    """The line from the engine's log odds to those observed; ``Observed(0, 1)`` changes nothing."""

    constant: float
    share: float

    def of(self, confidence: float) -> float:
        """How often a proposal of this confidence is right; 0 and 1 stay what they are."""
        if confidence <= 0.0 or confidence >= 1.0:
            return confidence
        odds = self.constant + self.share * (np.log(confidence) - np.log1p(-confidence))
        return float(1.0 / (1.0 + np.exp(-np.clip(odds, -_FAR, _FAR))))

    def ruling(self, ruling: Ruling) -> Ruling:
        """A ruling whose proposals say how often their like was right."""
        return replace(ruling, proposals=tuple(map(self._proposal, ruling.proposals)))

    def _proposal(self, proposal: Proposal) -> Proposal:
        return replace(proposal, confidence=self.of(proposal.confidence))

    @classmethod
    def fitted(
        cls, confidence: Sequence[float], right: Sequence[bool], weight: Sequence[float]
    ) -> Observed:
        """The likeliest line for proposals that were right or not.

        Parameters
        ----------
        confidence
            What the engine said.
        right
            Whether the rules gave what was proposed.
        weight
            How many independent proposals each one counts as: reads of one match err together.

        Notes
        -----
        Newton's method with a ridge towards the line that changes nothing, which a few matches must
        overcome; the share is kept from falling below zero, so that a surer proposal is never
        called less likely.
        """
        sure = np.clip(np.asarray(confidence, np.float64), _BOUND, 1.0 - _BOUND)
        design = np.stack([np.ones(len(sure)), np.log(sure / (1.0 - sure))], axis=1)
        answer, counts = np.asarray(right, np.float64), np.asarray(weight, np.float64)
        nothing = np.array([0.0, 1.0])
        line = nothing.copy()
        for _ in range(_STEPS):
            likely = 1.0 / (1.0 + np.exp(-design @ line))
            slope = design.T @ (counts * (answer - likely)) - _RIDGE * (line - nothing)
            bend = (design * (counts * likely * (1.0 - likely))[:, None]).T @ design
            bend += _RIDGE * np.eye(2)
            line = line + np.linalg.solve(bend, slope)
        return cls(float(line[0]), max(0.0, float(line[1])))


@cache
def shipped_observed() -> Observed:
    """The line that comes with the program."""
    return Observed(*criteria_file().get("proposals", (0.0, 1.0)))
