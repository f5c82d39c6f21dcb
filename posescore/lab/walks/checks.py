"""Checks of true holds out of answers frame by frame, and whether an award hangs on a doubt."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import product
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.holds.event import MatchEvent
from posescore.holds.hold import Check, CheckName, Hold
from posescore.lab.walks.motion import FPS
from posescore.scoring.engine import propose
from posescore.scoring.rules import RuleSet
from posescore.terms import Position, State

AGREE: Final = 0.88
"""Share of a hold's clear frames that give one answer."""
CLEAR: Final = 0.6
"""Share of a hold's frames that are clear."""
EDGE_S: Final = 0.3
BORDER_S: Final = 0.2
"""Nobody can say to a fifth of a second how long a hold lasted: awards must not hang on it."""
MOST_DOUBTS: Final = 5

Value = bool | int | str
_MOUNT: Final = (
    (CheckName.FACING, "facing_head", ("feet", "head")),
    (CheckName.ARMS_TRAPPED, "arm_trapped", (0, 1, 2)),
    (CheckName.KNEES_DOWN, "knee_down", (0, 1, 2)),
)
CHECKS: Final[Mapping[Position, tuple[tuple[CheckName, str, tuple[Value, ...]], ...]]] = {
    Position.KNEE_ON_BELLY: (
        (CheckName.OTHER_KNEE_DOWN, "other_knee_down", (False, True)),
        (CheckName.SHIN, "hip_side", ("head_side", "hip_side")),
    ),
    Position.MOUNT: _MOUNT,
    Position.BACK_MOUNT: _MOUNT,
    Position.BACK_CONTROL: (
        (CheckName.HOOKS, "hook", (0, 1, 2)),
        (CheckName.FEET_CROSSED, "feet_crossed", (False, True)),
    ),
    Position.TURTLE: (
        (CheckName.KNEE_OF_OPPONENT_DOWN, "knee_of_opponent_down", (False, True)),
        (CheckName.BEHIND_SHOULDER_LINE, "behind_shoulder_line", (False, True)),
    ),
}
Doubt = tuple[int, CheckName, tuple[Value, ...]]


def checked_holds(
    held: Sequence[tuple[int, int, State]], criteria: Mapping[str, NDArray[np.int8]]
) -> tuple[tuple[Hold, ...], tuple[Doubt, ...]]:
    """Holds of stretches of frames with the checks that are clear, and those that are not."""
    holds: list[Hold] = []
    doubts: list[Doubt] = []
    for begun, ended, state in held:
        edge = min(int(EDGE_S * FPS), (ended - begun) // 4)
        checks = []
        for name, question, values in CHECKS.get(state.position, ()):
            could = _values(criteria[question][begun + edge : ended - edge], values)
            if len(could) > 1:
                doubts.append((len(holds), name, could))
            else:
                checks.append(Check(name, could[0]))
        start_s, end_s = round(begun / FPS, 3), round(ended / FPS, 3)
        holds.append(Hold(start_s, end_s, state.position, state.upper, checks=tuple(checks)))
    return tuple(holds), tuple(doubts)


def _values(answers: NDArray[np.int8], values: tuple[Value, ...]) -> tuple[Value, ...]:
    """The values that a check may have: one where every side's answer is clear."""
    least = most = 0
    for side in (answers[:, None] if answers.ndim == 1 else answers).T:
        clear = side[side >= 0]
        yes = float(clear.mean()) if len(clear) else 0.5
        settled = len(clear) >= CLEAR * len(side) and max(yes, 1 - yes) >= AGREE
        least += int(yes > 0.5) if settled else 0
        most += int(yes > 0.5) if settled else 1
    return values[least : most + 1]


def is_settled(
    holds: tuple[Hold, ...], doubts: tuple[Doubt, ...], events: Sequence[MatchEvent]
) -> bool:
    """Whether awards are the same whatever the unclear checks are, and were holds a little longer.

    Few unclear checks are tried; holds are made shorter too.
    """
    if len(doubts) > MOST_DOUBTS:
        return False
    rules, told = RuleSet.load(), set()
    for values in product(*(doubt[2] for doubt in doubts)):
        sure = list(holds)
        for (index, name, _), value in zip(doubts, values, strict=True):
            hold = sure[index]
            sure[index] = replace(hold, checks=(*hold.checks, Check(name, value)))
        for border_s in (0.0, -BORDER_S, BORDER_S):
            ruling = propose(_moved_ends(sure, border_s), events, rules)
            told.add(tuple((p.athlete, p.kind, p.points, p.would_be) for p in ruling.proposals))
            if len(told) > 1:
                return False
    return True


def _moved_ends(holds: Sequence[Hold], by_s: float) -> list[Hold]:
    """Holds that end earlier or later; one that begins where another ends begins with its end."""
    moved: list[Hold] = []
    for index, hold in enumerate(holds):
        start_s, end_s = hold.start_s, hold.end_s + by_s
        if index and abs(holds[index - 1].end_s - start_s) < 1e-6:
            start_s = moved[-1].end_s
        if index + 1 < len(holds) and holds[index + 1].start_s - hold.end_s > 1e-6:
            end_s = min(end_s, holds[index + 1].start_s)
        moved.append(replace(hold, start_s=start_s, end_s=max(end_s, start_s + 0.1)))
    return moved
