"""Calibrates the model in time on walks through entries that it never learned from.

Temperatures of states, of the answer of every criterion over whole holds, of who brought a match
down and of positions given up, by maximum likelihood; and what follows what in matches, how long.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize, minimize_scalar

from posescore.holds.decoding.decoder import decode
from posescore.holds.decoding.grammar import Grammar
from posescore.holds.film.features import features_of
from posescore.holds.film.instants import Instants, instants_of
from posescore.holds.film.model import TimeModel
from posescore.holds.film.outputs import CRITERIA, MIRRORED_CRITERIA, N_WAYS
from posescore.holds.film.reading import SCRAMBLE, Calibration, FilmReading
from posescore.lab.train.time.learning import CLEAR_SHARE
from posescore.lab.train.time.material import Material, walked, with_truth
from posescore.lab.walks import errors, seen
from posescore.position.network import log_softmax, logistic
from posescore.terms import STATES, Floats, Position, Step

_USUAL_SLOPE: Final = 0.7
_HELD: Final = 6.0
"""How strongly a criterion of few holds is held to a slope as usual and no shift."""


@dataclass(frozen=True, slots=True, eq=False)
class Answered:
    """One match left out, as the pose pass might read it: what the model says, and the truth."""

    truth: Material
    film: Instants
    raw: Mapping[str, Floats]


def answered(model: TimeModel, seed: int) -> Answered | None:
    """The model's answers to a walk through entries that are left out."""
    one = walked("left_out", (11, seed))
    if one is None:
        return None
    match, rng = one
    view = seen(match, rng)
    film = instants_of(errors(view.track, view.visible, rng))
    features = features_of(film)
    return Answered(with_truth(match, features, rng), film, model.answers(features))


def calibrated(matches: Sequence[Answered], start: Calibration) -> Calibration:
    """The same pooling with temperatures that make the left-out matches likeliest."""
    rows = [_holds(match, start) for match in matches]
    odds, truth = (np.concatenate([row[k] for row in rows]) for k in (0, 1))
    lines = []
    for column, other in enumerate(MIRRORED_CRITERIA):
        both = sorted({column, other})  # left and right are one question
        known = truth[:, both] >= 0
        lines.append(_line(odds[:, both][known], truth[:, both][known]))
    ways = [each for match in matches for each in _ways(match, start)]
    logits, way = np.stack([w[0] for w in ways]), np.array([w[1] for w in ways])
    given = [each for match in matches for each in _given(match, start)]
    odds, up = np.array([g[0] for g in given]), np.array([g[1] for g in given])
    return Calibration(
        *_line_of_states(matches),
        tuple(line[0] for line in lines), tuple(line[1] for line in lines),
        start.prior, start.doubt,
        _temperature_of_logits(logits, way), start.ways_doubt,
        _temperature_of_odds(odds, up), start.given_up_prior, start.given_up_doubt,
    )  # fmt: skip


def pooling_of(weights: Mapping[str, NDArray[np.float32]]) -> Calibration:
    """How the network pooled as it learned, temperatures 1."""
    doubt = np.logaddexp(0.0, weights["doubt"].astype(np.float64) + 2.0)
    prior, other = weights["prior"], list(MIRRORED_CRITERIA)
    return Calibration(
        1.0, 0.0, (1.0,) * len(CRITERIA), (0.0,) * len(CRITERIA),
        tuple(map(float, (prior + prior[other]) / 2)),
        tuple(map(float, (doubt[:-2] + doubt[:-2][other]) / 2)),
        1.0, float(0.1 * doubt[-2]), 1.0, -3.0, float(doubt[-1]),
    )  # fmt: skip


def _holds(match: Answered, c: Calibration) -> tuple[Floats, NDArray[np.int8]]:
    """Pooled log odds and truths ``(n_holds, n_criteria)``; -1 where it is not asked or unclear."""
    truth = match.truth
    odds, told = [], []
    for number in np.unique(truth.hold[truth.hold >= 0]):
        rows = np.flatnonzero(truth.hold == number)
        upper = truth.upper[rows[0]]
        says = match.raw["criteria"][rows, upper]
        shown = logistic(says[..., 1])
        total, doubt = shown.sum(0), np.array(c.doubt)
        odds.append(((shown * says[..., 0]).sum(0) + doubt * np.array(c.prior)) / (total + doubt))
        asked = truth.criteria[rows]
        clear = (asked == 0) | (asked == 1)
        share = (asked == 1).sum(0) / np.maximum(clear.sum(0), 1)
        settled = (clear.sum(0) >= 6) & (clear.sum(0) >= 0.5 * len(rows))
        settled &= (share > CLEAR_SHARE) | (share < 1 - CLEAR_SHARE)
        told.append(np.where(settled, share > 0.5, -1).astype(np.int8))
    return np.array(odds), np.array(told)


def holds_calibrated(
    matches: Sequence[Answered], reading: Calibration, grammar: Grammar
) -> Calibration:
    """The same with how often a hold that is so sure is in its position."""
    sure, right = [], []
    for match in matches:
        film = FilmReading.calibrated(match.film, match.raw, reading, grammar, Step("fit"))
        for hold in decode(film.of_instants(), grammar, film.seen):
            state = match.truth.state[film.slice_of(hold.start_s, hold.end_s)]
            state = state[state >= 0]
            if hold.position is not Position.SCRAMBLE and len(state):
                sure.append(hold.confidence)
                right.append((state == STATES.index(hold.state)).mean() > 0.5)
    clipped = np.clip(sure, 1e-3, 1 - 1e-3)
    slope, shift = _line(np.log(clipped / (1 - clipped)), np.array(right, np.int8))
    return replace(reading, hold=slope, hold_usual=shift)


def _ways(match: Answered, c: Calibration) -> list[tuple[Floats, int]]:
    truth, found = match.truth, []
    for number in np.unique(truth.passage[truth.way >= 0]):
        rows = np.flatnonzero((truth.passage == number) & (truth.way >= 0))
        shown = logistic(match.raw["ways"][rows, N_WAYS])
        logits = shown @ match.raw["ways"][rows, :N_WAYS] / (shown.sum() + c.ways_doubt)
        found.append((logits, int(truth.way[rows[0]])))
    return found


def _given(match: Answered, c: Calibration) -> list[tuple[float, int]]:
    truth, found = match.truth, []
    for number in np.unique(truth.passage[truth.given_up >= 0]):
        rows = np.flatnonzero((truth.passage == number) & (truth.given_up >= 0))
        says = match.raw["given_up"][rows, truth.giver[rows[0]]]
        shown = logistic(says[:, 1])
        odds = (shown @ says[:, 0] + c.given_up_doubt * c.given_up_prior) / (
            shown.sum() + c.given_up_doubt
        )
        found.append((float(odds), int(truth.given_up[rows[0]])))
    return found


def _line(odds: Floats, truth: NDArray[np.int8]) -> tuple[float, float]:
    """Slope and shift that make the truths likeliest, near the usual where holds are few."""
    sign = np.where(truth > 0, 1.0, -1.0)

    def lost(line: Floats) -> float:
        slope = np.exp(line[0])
        fit = np.logaddexp(0.0, -sign * (slope * odds + line[1])).sum()
        return float(fit + _HELD * ((line[0] - np.log(_USUAL_SLOPE)) ** 2 + line[1] ** 2) / 2)

    slope, shift = minimize(lost, np.array([np.log(_USUAL_SLOPE), 0.0])).x
    return float(np.exp(slope)), float(shift)


def _line_of_states(matches: Sequence[Answered]) -> tuple[float, float]:
    """Slope of all logits and shift of the scramble's that make the truth likeliest.

    What is unclear beside a hold was not learned from; here it counts as scramble, which it is, so
    that holds begin and end where they do.
    """
    logits = np.concatenate([m.raw["states"] for m in matches])
    state = np.concatenate([m.truth.state for m in matches]).astype(int)
    state[state < 0] = SCRAMBLE
    rows = np.arange(len(state))

    def lost(line: Floats) -> float:
        shifted = np.exp(line[0]) * logits
        shifted[:, SCRAMBLE] += line[1]
        return float(-log_softmax(shifted)[rows, state].mean())

    slope, shift = minimize(lost, np.zeros(2), method="Nelder-Mead", options={"maxiter": 80}).x
    return float(np.exp(slope)), float(shift)


def _temperature_of_logits(logits: Floats, truth: NDArray[np.int64]) -> float:
    rows = np.arange(len(truth))

    def lost(log_slope: float) -> float:
        return float(-log_softmax(np.exp(log_slope) * logits)[rows, truth].mean())

    return float(np.exp(minimize_scalar(lost, bounds=(-3.0, 1.0), method="bounded").x))


def _temperature_of_odds(odds: Floats, truth: NDArray[np.int64]) -> float:
    sign = np.where(truth > 0, 1.0, -1.0)

    def lost(log_slope: float) -> float:
        return float(np.logaddexp(0.0, -sign * np.exp(log_slope) * odds).mean())

    return float(np.exp(minimize_scalar(lost, bounds=(-3.0, 1.0), method="bounded").x))


def figures(matches: Sequence[Answered], c: Calibration) -> dict[str, float]:
    """How right the answers are: states by instant, criteria by hold, ways by passage."""
    state = np.concatenate([m.truth.state for m in matches])
    said = np.concatenate([m.raw["states"].argmax(1) for m in matches])
    found = {"states": float((said == state)[state >= 0].mean())}
    rows = [_holds(match, c) for match in matches]
    odds, truth = (np.concatenate([row[k] for row in rows]) for k in (0, 1))
    for column, (name, side) in enumerate(CRITERIA):
        known = truth[:, column] >= 0
        if known.any():
            right = (odds[known, column] > 0) == (truth[known, column] > 0)
            found[f"{name}:{side}"] = round(float(right.mean()), 4)
            found[f"{name}:{side} asked"] = int(known.sum())
            found[f"{name}:{side} yes"] = round(float((truth[known, column] > 0).mean()), 3)
    ways = [each for match in matches for each in _ways(match, c)]
    found["ways"] = float(np.mean([int(np.argmax(w[0])) == w[1] for w in ways]))
    found["ways asked"] = len(ways)
    given = [each for match in matches for each in _given(match, c)]
    found["given up"] = float(np.mean([(g[0] > 0) == g[1] for g in given]))
    return found
