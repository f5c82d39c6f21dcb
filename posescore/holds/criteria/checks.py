"""What the published criteria ask, looked up in the keypoints of each hold.

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
from posescore.holds.criteria.judge import shipped_judges
from posescore.holds.criteria.parts import yes_of_parts
from posescore.holds.criteria.questions import QUESTIONS, SIDES
from posescore.holds.decoding.segments import SegmentModel
from posescore.holds.geometry import along_body, point
from posescore.holds.hold import Check, CheckName, Hold
from posescore.holds.windows import Instants, instants
from posescore.pose.track import PairTrack
from posescore.terms import Floats, Position

SHORTEST_PART_S: Final = 1.0
"""A part of a hold is no shorter: a third of the count that decides."""
_MEAN_PART_S: Final = 5.0
_CORRELATION_S: Final = 0.5
_MOST_OBSERVATIONS: Final = 1.2
"""One pose in one view: looking longer removes noise, not the ambiguity of the view."""
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
"""Probability from which an answer is clear, as in the card of the judges."""
_EDGE_S: Final = 0.3
"""The first and last of a hold are on the way in or out: they count a third."""


@dataclass(frozen=True, slots=True)
class _Criterion:
    """How answers to a question become the value of a check.

    Its first value stands for no and its last for yes; of a sided question for none and both.
    """

    name: CheckName
    question: str
    divides: bool = True


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
_BY_NAME: Final = {question.name: question for question in QUESTIONS}


def check_holds(holds: tuple[Hold, ...], track: PairTrack) -> tuple[Hold, ...]:
    """Add what was seen of the criteria to every hold that has some.

    Parameters
    ----------
    holds
        In order of time. Positions without criteria are returned as they are.
    track
        Keypoints of the same footage.

    Returns
    -------
    tuple of Hold
        The same stretches; a hold is divided where an answer changes for ``SHORTEST_PART_S`` or
        longer. Where hardly anything was seen the probability is what is usual in the sport, and
        the words say so.
    """
    return tuple(part for hold in holds for part in _checked(hold, track))


def _checked(hold: Hold, track: PairTrack) -> tuple[Hold, ...]:
    criteria = _CRITERIA.get(hold.position)
    if criteria is None or hold.upper is None:
        return (hold,)
    seen = instants(track, hold.start_s, hold.end_s, hold.upper)
    if not len(seen):
        return (hold,)
    weight = _weights(seen)
    answers = [_answers(criterion, seen) for criterion in criteria]
    dividing = [
        (criterion, answer)
        for criterion, answer in zip(criteria, answers, strict=True)
        if criterion.divides
    ]
    cuts = _cuts(dividing, seen.edges_s, weight)
    likely = [
        _probabilities(criterion, odds, weight, cuts)
        for criterion, odds in zip(criteria, answers, strict=True)
    ]
    return tuple(
        replace(
            hold,
            start_s=float(seen.edges_s[first]),
            end_s=float(seen.edges_s[last]),
            checks=_checks(
                criteria, answers, [p[part] for p in likely], seen, weight, slice(first, last)
            ),
        )
        for part, (first, last) in enumerate(pairwise(cuts))
    )


def _weights(seen: Instants) -> Floats:
    """Observations that each instant counts as, ``(n,)``."""
    shown_s = np.minimum(np.diff(seen.edges_s), _CORRELATION_S)
    middle_s = (seen.edges_s[:-1] + seen.edges_s[1:]) / 2
    margin_s = np.minimum(middle_s - seen.edges_s[0], seen.edges_s[-1] - middle_s)
    on_the_way = np.where(margin_s < _EDGE_S, 1.0 / 3.0, 1.0)
    return np.asarray(seen.seen * on_the_way * shown_s / _CORRELATION_S)


def _answers(criterion: _Criterion, seen: Instants) -> Floats:
    """Log odds of yes, ``(n, 1)``, or ``(n, 2)`` of a sided question; 0 where unseen."""
    question = _BY_NAME[criterion.question]
    judge = shipped_judges()[question.name]
    sides = SIDES if question.sided else SIDES[:1]
    odds = np.stack([judge.log_odds(question.ask(seen.pair_px, s)) for s in sides], axis=1)
    shown = np.stack([question.shown(seen.pair_px, s) for s in sides], axis=1)
    odds = np.clip(odds, -2 * _STRONGEST, 2 * _STRONGEST) * shown
    return np.where(seen.seen[:, None], odds, 0.0)


def _cuts(dividing: list[tuple[_Criterion, Floats]], edges_s: Floats, weight: Floats) -> list[int]:
    """Edges at which an answer changes, with the first and the last edge.

    First, where the odds of any answer step from one level to another and stay there; then the
    parts between such steps that say the same, and are as clear of it, are joined again. So a part
    in which a view turns doubtful does not lend its doubt to the rest, nor take the rest's
    certainty.
    """
    steps = {
        part.last_edge
        for _, odds in dividing
        for column in odds.T
        for part in _LEVELS.best(edges_s, _of_levels(column, weight))[:-1]
    }
    cuts = [0]
    for edge in sorted(steps):
        room_s = min(edges_s[edge] - edges_s[cuts[-1]], edges_s[-1] - edges_s[edge])
        if room_s >= SHORTEST_PART_S - 1e-9:
            cuts.append(edge)
    cuts.append(len(edges_s) - 1)
    likely = [_probabilities(c, odds, weight, cuts) for c, odds in dividing]
    said = [[_said(p[part]) for p in likely] for part in range(len(cuts) - 1)]
    inner = [cut for cut, (a, b) in zip(cuts[1:-1], pairwise(said), strict=True) if a != b]
    return [0, *inner, len(edges_s) - 1]


def _said(probability: Floats) -> tuple[int, bool]:
    """The likeliest value, and whether it is clear."""
    return int(np.argmax(probability)), bool(probability.max() >= _CLEAR)


def _of_levels(odds: Floats, weight: Floats) -> Floats:
    """Cumulative log-likelihood of every level, ``(n + 1, n_levels)``, errors bounded."""
    off = np.minimum(np.abs(odds[:, None] - _LEVEL_ODDS), _STRONGEST)
    gained = np.cumsum(-0.5 * off**2 * weight[:, None], axis=0)
    return np.vstack([np.zeros((1, len(_LEVEL_ODDS))), gained])


def _checks(
    criteria: tuple[_Criterion, ...],
    answers: list[Floats],
    likely: list[Floats],
    seen: Instants,
    weight: Floats,
    part: slice,
) -> tuple[Check, ...]:
    checks: list[Check] = []
    visible = float(seen.seen[part].mean())
    for criterion, odds, probability in zip(criteria, answers, likely, strict=True):
        chosen = int(np.argmax(probability))
        value = CHECKS[criterion.name].values[chosen]
        fraction = _share(odds[part], weight[part], chosen)
        sure = float(probability[chosen])
        checks.append(Check(criterion.name, value, sure, fraction=fraction, visible=visible))
    trapped = next((c for c in checks if c.name is CheckName.ARMS_TRAPPED), None)
    if trapped is not None and trapped.value:
        checks.append(_arm_height(answers[1][part], seen.pair_px[part]))
    return tuple(checks)


def _probabilities(criterion: _Criterion, odds: Floats, weight: Floats, cuts: list[int]) -> Floats:
    """Probability of every value in every part between cuts, ``(n_parts, n_values)``."""
    question = _BY_NAME[criterion.question]
    total = np.array([weight[i:j].sum() for i, j in pairwise(cuts)])
    mean = np.stack([weight[i:j] @ odds[i:j] for i, j in pairwise(cuts)])
    mean /= np.maximum(total, 1e-9)[:, None]
    counted = np.minimum(total, _MOST_OBSERVATIONS)
    yes = [yes_of_parts(side, counted, question.before) for side in mean.T]
    if not question.sided:
        return np.stack([1.0 - yes[0], yes[0]], axis=1)
    left, right = yes
    none, both = (1 - left) * (1 - right), left * right
    return np.stack([none, 1.0 - none - both, both], axis=1)


def _share(odds: Floats, weight: Floats, chosen: int) -> float:
    """Share of the seen instants that show the chosen value."""
    shown = (odds > 0.0).sum(axis=1) == chosen
    return min(1.0, float(weight @ shown / max(weight.sum(), 1e-9)))


def _arm_height(odds: Floats, pair: Floats) -> Check:
    """Whether the arm that is under a leg lies above the shoulder line of its owner."""
    side = SIDES[int(np.argmax(odds.sum(axis=0)))]
    with np.errstate(invalid="ignore"):
        along = along_body(pair[:, 1], point(pair[:, 1], f"{side}_elbow"))
    known: NDArray[np.float64] = along[np.isfinite(along)]
    if not len(known):
        return Check(
            CheckName.ARM_ABOVE_SHOULDER_LINE, False, 0.5, "the elbow of that arm is not seen"
        )
    beyond = float(np.median(known)) - 1.0
    sure = 1.0 / (1.0 + np.exp(-min(abs(beyond) / 0.15, 3.0)))
    value = beyond > 0.0
    return Check(CheckName.ARM_ABOVE_SHOULDER_LINE, value, float(sure), fraction=1.0, visible=1.0)
