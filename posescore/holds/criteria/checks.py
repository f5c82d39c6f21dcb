"""What the published criteria ask, as the film answers it over each hold.

A hold in which an answer changes (a knee comes down, a second hook goes in) is divided there, so
that every part carries one answer. Which answers divide a hold is said in ``_CRITERIA``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.holds.check import CHECKS
from posescore.holds.criteria.questions import SIDES
from posescore.holds.decoding.segments import SegmentModel
from posescore.holds.film.instants import INSTANT_S
from posescore.holds.film.outputs import CRITERIA
from posescore.holds.film.reading import FilmReading
from posescore.holds.hold import Check, CheckName, Hold
from posescore.position.network import logistic
from posescore.terms import KEYPOINT_INDEX, Athlete, Floats, Position
from posescore.words import sentence

SHORTEST_PART_S: Final = 1.0
"""A part of a hold is no shorter: a third of the count that decides."""
NOT_SEEN: Final = 0.25
"""Of an answer, less than this shown: what is said is what is usual."""
_MEAN_PART_S: Final = 5.0
_CORRELATION_S: Final = 0.5
_STRONGEST: Final = 3.0
_LEVEL_ODDS: Final = np.array([-5.0, -3.0, -1.0, 1.0, 3.0, 5.0])
"""Levels of log odds between which an answer may step, a unit of noise apart on either side."""
_LEVELS: Final = SegmentModel(
    np.full(len(_LEVEL_ODDS), SHORTEST_PART_S),
    np.full(len(_LEVEL_ODDS), _MEAN_PART_S),
    np.full(len(_LEVEL_ODDS), -np.log(len(_LEVEL_ODDS))),
    np.where(np.eye(len(_LEVEL_ODDS)) > 0, -np.inf, -np.log(len(_LEVEL_ODDS) - 1.0)),
)
_CLEAR: Final = 0.8
"""Probability from which an answer is clear."""


@dataclass(frozen=True, slots=True)
class _Criterion:
    """How answers to a question become the value of a check.

    Its first value stands for no and its last for yes; of a sided question for none and both.
    """

    name: CheckName
    question: str
    divides: bool = True

    @property
    def columns(self) -> list[int]:
        """Of the film's criteria: one, or that of the left and the right side."""
        return [column for column, (name, _) in enumerate(CRITERIA) if name == self.question]


_CRITERIA: Final[Mapping[Position, tuple[_Criterion, ...]]] = {
    Position.KNEE_ON_BELLY: (
        _Criterion(CheckName.OTHER_KNEE_DOWN, "other_knee_down"),
        _Criterion(CheckName.SHIN, "hip_side"),
    ),
    Position.BACK_CONTROL: (
        _Criterion(CheckName.HOOKS, "hook"),
        _Criterion(CheckName.FEET_CROSSED, "feet_crossed"),
    ),
    Position.TURTLE: (
        _Criterion(CheckName.KNEE_OF_OPPONENT_DOWN, "knee_of_opponent_down"),
        _Criterion(CheckName.BEHIND_SHOULDER_LINE, "behind_shoulder_line"),
    ),
} | {
    position: (
        _Criterion(CheckName.FACING, "facing_head"),
        _Criterion(CheckName.ARMS_TRAPPED, "arm_trapped"),
        _Criterion(CheckName.KNEES_DOWN, "knee_down", divides=False),
    )
    for position in (Position.MOUNT, Position.BACK_MOUNT)
}


def check_holds(holds: tuple[Hold, ...], film: FilmReading) -> tuple[Hold, ...]:
    """Add what was seen of the criteria to every hold that has some.

    Parameters
    ----------
    holds
        In order of time. Positions without criteria are returned as they are.

    Returns
    -------
    tuple of Hold
        The same stretches; a hold is divided where an answer changes for ``SHORTEST_PART_S`` or
        longer. Where hardly anything is shown the probability is what is usual, and the words say
        so.
    """
    return tuple(part for hold in holds for part in _checked(hold, film))


def _checked(hold: Hold, film: FilmReading) -> tuple[Hold, ...]:
    criteria = _CRITERIA.get(hold.position)
    whole = film.slice_of(hold.start_s, hold.end_s)
    if criteria is None or hold.upper is None or whole.start >= whole.stop:
        return (hold,)
    edges = _edges(hold, film, whole)
    cuts = _cuts(criteria, film, whole, edges, hold.upper)
    return tuple(
        replace(
            hold,
            start_s=float(edges[first]),
            end_s=float(edges[last]),
            checks=_checks(
                criteria, film, slice(whole.start + first, whole.start + last), hold.upper
            ),
        )
        for first, last in pairwise(cuts)
    )


def _edges(hold: Hold, film: FilmReading, whole: slice) -> Floats:
    edges = film.instants.edges_s[whole.start : whole.stop + 1].copy()
    edges[0], edges[-1] = hold.start_s, hold.end_s
    return np.asarray(edges)


def _cuts(
    criteria: tuple[_Criterion, ...], film: FilmReading, whole: slice, edges: Floats, upper: Athlete
) -> list[int]:
    """Edges at which an answer changes, with the first and the last edge.

    First, where the odds of any answer step from one level to another and stay there; then the
    parts between such steps that say the same, and are as clear of it, are joined again. So a part
    in which a view turns doubtful does not lend its doubt to the rest, nor take the rest's
    certainty.
    """
    dividing = [criterion for criterion in criteria if criterion.divides]
    steps = {
        part.last_edge
        for criterion in dividing
        for column in criterion.columns
        for part in _LEVELS.best(edges, _of_levels(film, whole, upper, column))[:-1]
    }
    cuts, last = [0], len(edges) - 1
    for edge in sorted(steps):
        room_s = min(edges[edge] - edges[cuts[-1]], edges[last] - edges[edge])
        if room_s >= SHORTEST_PART_S - 1e-9:
            cuts.append(edge)
    cuts.append(last)
    said = [
        _said(dividing, film, slice(whole.start + a, whole.start + b), upper)
        for a, b in pairwise(cuts)
    ]
    inner = [cut for cut, (a, b) in zip(cuts[1:-1], pairwise(said), strict=True) if a != b]
    return [0, *inner, last]


def _said(
    criteria: list[_Criterion], film: FilmReading, part: slice, upper: Athlete
) -> list[tuple[int, bool]]:
    """The likeliest value of every check, and whether it is clear."""
    log_odds, _ = film.answer(part, upper)
    likely = [_probabilities(log_odds[criterion.columns]) for criterion in criteria]
    return [(int(np.argmax(p)), bool(p.max() >= _CLEAR)) for p in likely]


def _of_levels(film: FilmReading, whole: slice, upper: Athlete, column: int) -> Floats:
    """Cumulative log-likelihood of every level, ``(n + 1, n_levels)``, errors bounded."""
    odds = film.criteria[whole, upper.slot, column].clip(-2 * _STRONGEST, 2 * _STRONGEST)
    weight = film.shown[whole, upper.slot, column] * INSTANT_S / _CORRELATION_S
    off = np.minimum(np.abs(odds[:, None] - _LEVEL_ODDS), _STRONGEST)
    gained = np.cumsum(-0.5 * off**2 * weight[:, None], axis=0)
    return np.vstack([np.zeros((1, len(_LEVEL_ODDS))), gained])


def _checks(
    criteria: tuple[_Criterion, ...], film: FilmReading, part: slice, upper: Athlete
) -> tuple[Check, ...]:
    checks: list[Check] = []
    log_odds, shown = film.answer(part, upper)
    for criterion in criteria:
        probability = _probabilities(log_odds[criterion.columns])
        chosen = int(np.argmax(probability))
        checks.append(
            Check(
                criterion.name,
                CHECKS[criterion.name].values[chosen],
                float(probability[chosen]),
                fraction=_fraction(film, part, upper, criterion, chosen),
                visible=float(shown[criterion.columns].mean()),
            )
        )
    trapped = next((c for c in checks if c.name is CheckName.ARMS_TRAPPED), None)
    if trapped is not None and trapped.value:
        checks.append(_arm_height(film, part, upper, criteria[1].columns))
    return tuple(checks)


def _probabilities(log_odds: Floats) -> Floats:
    """Probability of every value of a check: no and yes, or none, one and both sides."""
    yes = logistic(log_odds)
    if len(yes) == 1:
        return np.array([1.0 - yes[0], yes[0]])
    none, both = float(np.prod(1.0 - yes)), float(np.prod(yes))
    return np.array([none, 1.0 - none - both, both])


def _fraction(
    film: FilmReading, part: slice, upper: Athlete, criterion: _Criterion, chosen: int
) -> float:
    """Fraction of what the instants show that speaks for the chosen value."""
    odds = film.criteria[part, upper.slot][:, criterion.columns]
    shown = film.shown[part, upper.slot][:, criterion.columns].mean(axis=1)
    agrees = (odds > 0.0).sum(axis=1) == chosen
    return min(1.0, float(shown @ agrees / max(shown.sum(), 1e-9)))


def _arm_height(film: FilmReading, part: slice, upper: Athlete, columns: list[int]) -> Check:
    """Whether the arm that is under a leg lies above the shoulder line of its owner."""
    odds = film.criteria[part, upper.slot][:, columns]
    side = SIDES[int(np.argmax(odds.sum(axis=0)))]
    lower = film.instants.keypoints_px[part, upper.other.slot]
    along = _along_body(lower, lower[:, KEYPOINT_INDEX[f"{side}_elbow"]])
    known: NDArray[np.float64] = along[np.isfinite(along)]
    if not len(known):
        return Check(CheckName.ARM_ABOVE_SHOULDER_LINE, False, 0.5, sentence("elbow_hidden"))
    beyond = float(np.median(known)) - 1.0
    sure = logistic(min(abs(beyond) / 0.15, 3.0))
    value = beyond > 0.0
    return Check(CheckName.ARM_ABOVE_SHOULDER_LINE, value, float(sure), fraction=1.0, visible=1.0)


def _along_body(body: Floats, place: Floats) -> Floats:
    """Where places lie along a torso: 0 at the hips, 1 at the shoulders, ``(n,)``; NaN unseen."""
    hips, shoulders = (
        body[:, [KEYPOINT_INDEX[f"{side}_{joint}"] for side in SIDES]].mean(axis=1)
        for joint in ("hip", "shoulder")
    )
    axis = shoulders - hips
    return np.asarray(((place - hips) * axis).sum(-1) / np.maximum((axis**2).sum(-1), 1e-9))
