"""A segmental (explicit-duration) model of labelled time, decoded exactly.

A match, or one hold of it, is a row of segments. A segment of label ``s`` lasts at least
``minimum_s[s]`` seconds and beyond that an exponentially distributed time of mean ``mean_s[s]``;
then another label follows with probability ``exp(log_follow[s, next])``. What was seen adds
``evidence[j, s] - evidence[i, s]`` nats to a segment between edges ``i`` and ``j``.

Because both the evidence and the logarithm of an exponential law add up over time, the best (or
the summed) weight of all segments that may end at an edge is a running maximum (or sum) over
their possible starts. So explicit durations cost no more than a plain hidden Markov model:
O(n_edges * n_labels**2), on any grid of edges, evenly spaced or not. (Rabiner 1989, section IV.D,
describes the general explicit-duration model; the running form is specific to this duration law.)
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from posescore.terms import Floats

_TINY_S = 1e-9
_REFERENCE_S = 0.1
"""Width of the cell a change falls into when single paths are compared.

A path's weight is a density over its change points; comparing paths with different numbers of
changes needs a width. It is fixed, so that the best path does not depend on the frame rate.
"""


@dataclass(frozen=True, slots=True)
class Segment:
    """A stretch between two edges of the grid with one label."""

    first_edge: int
    last_edge: int
    label: int


@dataclass(frozen=True, slots=True, eq=False)
class SegmentModel:
    """Durations in seconds and the order of labels.

    Parameters
    ----------
    minimum_s
        ``(n_labels,)`` float64, shortest duration of a segment.
    mean_s
        ``(n_labels,)`` float64, mean duration beyond the minimum.
    log_start
        ``(n_labels,)`` float64, log probability of the first label.
    log_follow
        ``(n_labels, n_labels)`` float64, log probability that a label follows another. Minus
        infinity forbids; the diagonal must be forbidden.
    """

    minimum_s: Floats
    mean_s: Floats
    log_start: Floats
    log_follow: Floats

    def __post_init__(self) -> None:
        if not np.isneginf(np.diag(self.log_follow)).all():
            raise ValueError("a label cannot follow itself: that would be one longer segment")
        if not (self.minimum_s > 0.0).all() or not (self.mean_s > 0.0).all():
            raise ValueError("shortest and mean durations must be above 0 s")

    def best(self, edges_s: Floats, evidence: Floats) -> list[Segment]:
        """The most probable segmentation.

        Parameters
        ----------
        edges_s
            ``(n_edges,)`` float64, strictly rising: where segments may begin and end.
        evidence
            ``(n_edges, n_labels)`` float64, cumulative log-likelihood up to each edge.

        Returns
        -------
        list of Segment
            Tiles the grid. Where the whole grid is shorter than every minimum, one segment with
            the label of most evidence.
        """
        n_edges = len(edges_s)
        gain = self._gain(edges_s, evidence)
        mature = self._mature(edges_s)
        labels = np.arange(len(self.mean_s))
        leave = self.log_follow + np.log(_REFERENCE_S / self.mean_s)[:, None]
        settled = self.minimum_s / self.mean_s
        opened = np.full((n_edges, len(labels)), -np.inf)
        running = np.full((n_edges + 1, len(labels)), -np.inf)
        closed = np.full((n_edges, len(labels)), -np.inf)
        opened[0] = self.log_start - gain[0] + settled
        running[1] = opened[0]
        for edge in range(1, n_edges):
            closed[edge] = running[mature[edge], labels] + gain[edge]
            entered = (closed[edge][:, None] + leave).max(axis=0)
            opened[edge] = entered - gain[edge] + settled
            np.maximum(running[edge], opened[edge], out=running[edge + 1])
        if np.isneginf(closed[-1]).all():
            return [Segment(0, n_edges - 1, int(np.argmax(evidence[-1] - evidence[0])))]
        return _trace(opened, closed, mature, leave)

    def occupancy(self, edges_s: Floats, evidence: Floats) -> Floats:
        """Posterior probability of every label in every cell, over all segmentations.

        Returns
        -------
        ndarray
            ``(n_edges - 1, n_labels)`` float64, rows sum to 1.
        """
        gain = self._gain(edges_s, evidence)
        mature = self._mature(edges_s)
        width = np.diff(edges_s, append=edges_s[-1] + _REFERENCE_S)
        opened, closed = self._forward(gain, mature, width)
        if np.isneginf(closed[-1]).all():
            share = np.exp(evidence[-1] - evidence[0] - (evidence[-1] - evidence[0]).max())
            return np.tile(share / share.sum(), (len(edges_s) - 1, 1))
        before, after = self._backward(gain, mature, width)
        total = np.logaddexp.reduce(closed[-1])
        starts = np.exp(opened + before - total)
        ends = np.exp(closed + after - total)
        inside = np.clip(np.cumsum(starts - ends, axis=0)[:-1], 0.0, None)
        return np.asarray(inside / inside.sum(axis=1, keepdims=True))

    def _gain(self, edges_s: Floats, evidence: Floats) -> Floats:
        """Cumulative weight of staying: evidence plus the exponential law's decay."""
        decay = (edges_s - edges_s[0])[:, None] / self.mean_s
        return np.asarray(evidence - decay, dtype=np.float64)

    def _mature(self, edges_s: Floats) -> NDArray[np.intp]:
        """``(n_edges, n_labels)``: how many of the earliest edges are a minimum or more ago."""
        since = edges_s[:, None] - self.minimum_s + _TINY_S
        return np.searchsorted(edges_s, since, side="right")

    def _forward(
        self, gain: Floats, mature: NDArray[np.intp], width: Floats
    ) -> tuple[Floats, Floats]:
        n_edges, n_labels = gain.shape
        labels = np.arange(n_labels)
        follow = np.exp(self.log_follow) / self.mean_s[:, None]
        settled = self.minimum_s / self.mean_s
        opened = np.full((n_edges, n_labels), -np.inf)
        running = np.full((n_edges + 1, n_labels), -np.inf)
        closed = np.full((n_edges, n_labels), -np.inf)
        opened[0] = self.log_start - gain[0] + settled
        running[1] = opened[0]
        log_width = np.log(width)
        with np.errstate(divide="ignore"):
            for edge in range(1, n_edges):
                closed[edge] = running[mature[edge], labels] + gain[edge]
                entered = _log_product(closed[edge], follow) + log_width[edge]
                opened[edge] = entered - gain[edge] + settled
                np.logaddexp(running[edge], opened[edge], out=running[edge + 1])
        return opened, closed

    def _backward(
        self, gain: Floats, mature: NDArray[np.intp], width: Floats
    ) -> tuple[Floats, Floats]:
        """Log weight of all that follows a segment's start, and of all that follows its end."""
        n_edges, n_labels = gain.shape
        labels = np.arange(n_labels)
        follow = np.ascontiguousarray((np.exp(self.log_follow) / self.mean_s[:, None]).T)
        settled = self.minimum_s / self.mean_s
        ripe = _first_ripe(mature)
        before = np.full((n_edges, n_labels), -np.inf)
        after = np.full((n_edges, n_labels), -np.inf)
        running = np.full((n_edges + 1, n_labels), -np.inf)
        after[-1] = 0.0
        running[n_edges - 1] = gain[-1]
        log_width = np.log(width)
        with np.errstate(divide="ignore"):
            for edge in range(n_edges - 2, -1, -1):
                before[edge] = running[ripe[edge], labels]
                onward = before[edge] - gain[edge] + settled
                after[edge] = _log_product(onward, follow) + log_width[edge]
                np.logaddexp(running[edge + 1], after[edge] + gain[edge], out=running[edge])
        return before, after


def _log_product(log_weight: Floats, matrix: Floats) -> Floats:
    """``log(exp(log_weight) @ matrix)`` without overflow."""
    top = log_weight.max()
    if np.isneginf(top):
        return np.full(matrix.shape[1], -np.inf)
    return np.asarray(np.log(np.exp(log_weight - top) @ matrix) + top)


def _first_ripe(mature: NDArray[np.intp]) -> NDArray[np.intp]:
    """First edge at which a segment that began at an edge may end; ``n_edges`` where none."""
    n_edges, n_labels = mature.shape
    begun = np.arange(n_edges)
    return np.stack(
        [np.searchsorted(mature[:, label], begun, side="right") for label in range(n_labels)],
        axis=1,
    )


def _trace(
    opened: Floats, closed: Floats, mature: NDArray[np.intp], leave: Floats
) -> list[Segment]:
    """Follow the best choices back from the end."""
    segments: list[Segment] = []
    edge = len(closed) - 1
    label = int(np.argmax(closed[edge]))
    while True:
        begun = int(np.argmax(opened[: mature[edge, label], label]))
        segments.append(Segment(begun, edge, label))
        if begun == 0:
            return segments[::-1]
        label, edge = int(np.argmax(closed[begun] + leave[:, label])), begun
