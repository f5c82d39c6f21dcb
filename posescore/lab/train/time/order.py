"""What follows what in walked matches, and how long it lasts, for the decoder."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby, pairwise
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from posescore.evaluation.poses3d.pose_set import swapped_states
from posescore.holds.decoding.grammar import Grammar
from posescore.holds.film.instants import INSTANT_S
from posescore.terms import STATES

_KNOWN: Final = 30.0
"""Changes that common practice (``grammar.toml``) counts as, from each state."""
_KNOWN_STAYS: Final = 10.0


def learned_order(states: Sequence[NDArray[np.int8]], known: Grammar) -> dict[str, Any]:
    """Follow probabilities and mean durations, both athletes alike, beside what is known.

    Parameters
    ----------
    states
        Of every match the state of each instant, -1 where it is unclear.
    known
        Common practice: what may follow at all, and what counts beside few matches.
    """
    swap = swapped_states()
    counts = np.zeros((len(STATES), len(STATES)))
    spent, stays = np.zeros(len(STATES)), np.zeros(len(STATES))
    for match in states:
        runs = [(s, len(list(g))) for s, g in groupby(match[match >= 0].tolist())]
        for (one, lasts), (other, _) in pairwise(runs):
            counts[one, other] += 1
            counts[swap[one], swap[other]] += 1
            for state in (one, swap[one]):
                spent[state] += lasts * INSTANT_S
                stays[state] += 1
    model = known.model
    usual = np.exp(model.log_follow)
    follow = np.where(usual > 0, counts + _KNOWN * usual, 0.0)
    beyond = spent - stays * model.minimum_s + _KNOWN_STAYS * model.mean_s
    return {
        "follow": np.round(follow / follow.sum(axis=1, keepdims=True), 5).tolist(),
        "mean_s": np.round(np.maximum(beyond / (stays + _KNOWN_STAYS), 1.0), 2).tolist(),
    }
