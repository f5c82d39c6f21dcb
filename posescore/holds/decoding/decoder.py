"""From a probability per frame to holds: which state, from when to when, how sure.

The result tiles the footage, keeps every state for at least its shortest duration in seconds, and
depends on time, not on the frame rate: evidence is a rate per second.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from posescore.holds.decoding.grammar import EvidenceRule, Grammar
from posescore.holds.decoding.segments import Segment
from posescore.holds.hold import Hold
from posescore.position.probabilities import PositionProbabilities
from posescore.terms import STATES, Floats, Position, State

_COARSE_S = 0.2
"""First grid: a few times finer than the shortest hold."""
_NEAR_S = 0.35
"""Around a change found on the coarse grid every frame is a possible edge."""
_RULED_OUT = -60.0
"""Nats per observation for a named position where nobody can be seen."""
_LEAST = 1e-3
"""Probability below which a classifier is not taken at its word when it comes to confidence."""
_SCRAMBLE = STATES.index(State(Position.SCRAMBLE))


def decode(
    probabilities: PositionProbabilities,
    grammar: Grammar | None = None,
    seen: NDArray[np.bool_] | None = None,
) -> tuple[Hold, ...]:
    """Find the most probable row of holds.

    Parameters
    ----------
    probabilities
        One distribution over :data:`posescore.terms.STATES` per frame.
    grammar
        Shortest durations, plausible changes, rule of evidence; the shipped one by default.
    seen
        ``(n_frames,)`` bool: False where too few keypoints were found to judge. Rows without any
        state above the grammar's ``least_probability`` count as unseen too.

    Returns
    -------
    tuple of Hold
        In order of time, half-open, tiling ``[0, end_s)``; neighbours differ in state. Edges are
        frame times, 0 or ``end_s``. ``confidence`` is the expected share of the hold in which
        its state is right. Footage shorter than every shortest duration is one hold.

    Notes
    -----
    *Evidence as a rate.* A frame shown for ``d`` seconds adds ``min(d, correlation_s) /
    correlation_s`` observations, so 60 frames a second say no more than 24. An observation is the
    logarithm of the state's probability after mixing in a share of outliers, which bounds what a
    short burst of wrong frames can do.

    *Confidence.* The lower of two numbers: the posterior of the state averaged over the hold
    (summed over all segmentations), and the posterior of the state among all states when the
    holds' edges are taken as given and the frames of one hold count as at most
    ``most_observations`` together. The second keeps a long hold of a half-convincing pose
    half-convincing: a mistake repeated is not a proof.

    *Gaps.* Where nobody can be seen for longer than ``bridge_s`` the state is scramble, and its
    confidence is what the model gives scramble there: low.
    """
    grammar = grammar or Grammar.shipped()
    if not len(probabilities) or probabilities.end_s <= 0.0:
        return ()
    frames = _Frames(probabilities, grammar.evidence, seen)
    segments, edges_s = _segments(frames, grammar)
    coarse_edges = frames.coarse_edges()
    occupancy = grammar.model.occupancy(
        frames.edge_s[coarse_edges], frames.open_evidence[coarse_edges]
    )
    trust = _trust(frames, segments, edges_s, grammar)
    return tuple(
        Hold(
            start_s := float(edges_s[segment.first_edge]),
            end_s := float(edges_s[segment.last_edge]),
            STATES[segment.label].position,
            STATES[segment.label].upper,
            min(
                _posterior(occupancy, frames.edge_s[coarse_edges], start_s, end_s, segment.label),
                sure,
            ),
        )
        for segment, sure in zip(segments, trust, strict=True)
    )


def _segments(frames: _Frames, grammar: Grammar) -> tuple[list[Segment], Floats]:
    """Best segments, first on a coarse grid, then with every frame near the changes found."""
    edges = frames.coarse_edges()
    segments = grammar.model.best(frames.edge_s[edges], frames.evidence[edges])
    changes_s = frames.edge_s[edges][[segment.first_edge for segment in segments[1:]]]
    if len(changes_s):
        edges = frames.edges_near(edges, changes_s)
        segments = grammar.model.best(frames.edge_s[edges], frames.evidence[edges])
    return segments, frames.edge_s[edges]


class _Frames:
    """Cumulative evidence at every frame edge of the footage."""

    def __init__(
        self,
        probabilities: PositionProbabilities,
        rule: EvidenceRule,
        seen: NDArray[np.bool_] | None,
    ) -> None:
        self.rule = rule
        self.edge_s = _edges(probabilities)
        shown_s = np.diff(self.edge_s)
        weight = np.minimum(shown_s, rule.correlation_s) / rule.correlation_s
        row = probabilities.probability
        known = row.max(axis=1) >= rule.least_probability
        if seen is not None:
            known &= seen
        noise = np.full(len(STATES), 2.0 / 3.0 / (len(STATES) - 1))
        noise[_SCRAMBLE] = 1.0 / 3.0
        log_row = np.log((1.0 - rule.outliers) * row + rule.outliers * noise)
        log_row[~known] = -np.log(len(STATES))
        self.open_evidence = _cumulated(log_row * weight[:, None])
        plain = np.log(np.maximum(row, _LEAST))
        plain[~known] = 0.0
        self.plain_evidence = _cumulated(plain * weight[:, None])
        gap = _long_gaps(known, self.edge_s, rule.bridge_s)
        log_row[gap] = _RULED_OUT
        log_row[gap, _SCRAMBLE] = 0.0
        self.evidence = _cumulated(log_row * weight[:, None])
        self.observations = _cumulated((weight * known)[:, None])[:, 0]

    def coarse_edges(self) -> NDArray[np.intp]:
        """Indices of edges about ``_COARSE_S`` apart, the first and the last among them."""
        cell = np.floor(self.edge_s / _COARSE_S + 1e-6)
        _, first = np.unique(cell, return_index=True)
        return np.union1d(first, [len(self.edge_s) - 1])

    def edges_near(self, coarse: NDArray[np.intp], changes_s: Floats) -> NDArray[np.intp]:
        """The coarse edges and every edge close to a change."""
        first = np.searchsorted(self.edge_s, changes_s - _NEAR_S)
        last = np.searchsorted(self.edge_s, changes_s + _NEAR_S)
        close = [np.arange(a, b) for a, b in zip(first, last, strict=True)]
        return np.unique(np.concatenate([coarse, *close]))

    def within(self, start_s: float, end_s: float) -> Floats:
        """Log-likelihood of every state, from the frames of one stretch taken together."""
        first, last = np.searchsorted(self.edge_s, [start_s, end_s])
        observations = self.observations[last] - self.observations[first]
        gained = self.plain_evidence[last] - self.plain_evidence[first]
        share = min(1.0, self.rule.most_observations / max(observations, 1e-9))
        return np.asarray(share * (gained - gained.max()))


def _trust(
    frames: _Frames, segments: list[Segment], edges_s: Floats, grammar: Grammar
) -> list[float]:
    """Posterior of each segment's label where the edges are given, ``len(segments)`` numbers.

    The textbook forward-backward recursion over the row of segments: what each shows, how long it
    lasts, and what may follow what.
    """
    model = grammar.model
    seen = []
    for segment in segments:
        start_s, end_s = edges_s[segment.first_edge], edges_s[segment.last_edge]
        beyond_s = np.maximum(end_s - start_s - model.minimum_s, 0.0)
        lasting = -beyond_s / model.mean_s - np.log(model.mean_s)
        seen.append(frames.within(start_s, end_s) + lasting)
    follow = np.exp(model.log_follow)
    forward = [np.exp(model.log_start)]
    for here in seen:
        weight = forward[-1] * np.exp(here - here.max())
        forward.append(weight @ follow / weight.sum())
    backward = np.ones(len(model.mean_s))
    trust = []
    for before, here, segment in zip(forward[-2::-1], seen[::-1], segments[::-1], strict=True):
        onward = np.exp(here - here.max()) * backward
        posterior = before * onward
        trust.append(float(posterior[segment.label] / posterior.sum()))
        backward = follow @ onward
        backward = backward / backward.sum()
    return trust[::-1]


def _edges(probabilities: PositionProbabilities) -> Floats:
    """``(n_frames + 1,)``: 0, the later frames' times, the end."""
    inner = probabilities.time_s[1:]
    return np.concatenate([[0.0], inner, [probabilities.end_s]])


def _cumulated(gain: Floats) -> Floats:
    return np.vstack([np.zeros((1, gain.shape[1])), np.cumsum(gain, axis=0)])


def _long_gaps(known: NDArray[np.bool_], edge_s: Floats, bridge_s: float) -> NDArray[np.bool_]:
    """``(n_frames,)``: frames in a run of unknown ones longer than ``bridge_s``."""
    flips = np.flatnonzero(np.diff(np.concatenate([[True], known, [True]]).astype(np.int8)))
    gap = np.zeros(len(known), dtype=np.bool_)
    for first, last in flips.reshape(-1, 2):
        gap[first:last] = edge_s[last] - edge_s[first] > bridge_s
    return gap


def _posterior(
    occupancy: Floats, edge_s: Floats, start_s: float, end_s: float, label: int
) -> float:
    """Mean posterior of a label over a stretch, leaving out its edges where there is room."""
    trim_s = min(_COARSE_S, 0.25 * (end_s - start_s))
    begun = np.maximum(edge_s[:-1], start_s + trim_s)
    ended = np.minimum(edge_s[1:], end_s - trim_s)
    width = np.clip(ended - begun, 0.0, None)
    return float(min(1.0, np.dot(width, occupancy[:, label]) / max(width.sum(), 1e-9)))
