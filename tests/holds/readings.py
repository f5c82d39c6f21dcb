"""What a film might say, made by hand: answers of the model in time without the model."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from posescore.holds.decoding.grammar import Grammar
from posescore.holds.film.instants import INSTANT_S, Instants
from posescore.holds.film.outputs import CRITERIA, N_WAYS
from posescore.holds.film.reading import Calibration, FilmReading
from posescore.terms import STATES, State, Step

PLAIN = Calibration(
    states=1.0, scramble=0.0,
    criteria=(1.0,) * len(CRITERIA), usual=(0.0,) * len(CRITERIA),
    prior=(0.0,) * len(CRITERIA), doubt=(2.0,) * len(CRITERIA),
    ways=1.0, ways_doubt=0.1, given_up=1.0, given_up_prior=-3.0, given_up_doubt=2.0,
)  # fmt: skip


def reading(end_s: float = 8.0) -> FilmReading:
    """A film in which both athletes are seen, and which says nothing of anything."""
    n = round(end_s / INSTANT_S)
    points = np.random.default_rng(0).uniform(200, 500, (n, 2, 21, 2))
    return FilmReading(
        Instants(points, np.full((n, 2, 21), 0.9, np.float32), end_s),
        np.full((n, len(STATES)), 1 / len(STATES)),
        np.zeros((n, 2, len(CRITERIA))),
        np.zeros((n, 2, len(CRITERIA))),
        np.zeros((n, N_WAYS)),
        np.full(n, 0.9),
        np.full((n, 2), -5.0),
        np.full((n, 2), 0.9),
        np.ones(n, np.bool_),
        PLAIN,
        Grammar.shipped(),
        Step("test"),
    )


def saying(film: FilmReading, name: str, log_odds: np.ndarray, side: int = 0) -> FilmReading:
    """The same where each instant shows a criterion, with A as the upper one, by these log odds."""
    column = CRITERIA.index((name, side))
    criteria, shown = film.criteria.copy(), film.shown.copy()
    criteria[:, 0, column], shown[:, 0, column] = log_odds, 1.0
    return replace(film, criteria=criteria, shown=shown)


def in_state(film: FilmReading, start_s: float, end_s: float, state: State) -> FilmReading:
    """The same where a stretch is clearly in a state."""
    states = film.states.copy()
    part = film.slice_of(start_s, end_s)
    states[part] = 0.02 / (len(STATES) - 1)
    states[part, STATES.index(state)] = 0.98
    return replace(film, states=states)
