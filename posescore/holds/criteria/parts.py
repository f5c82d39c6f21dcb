"""Yes or no in each part of a hold, the parts judged side by side.

A view that hides a criterion hides it for as long as the pose lasts. So where the odds step visibly
between two parts of one hold, most often the criterion changed there: a knee came off the mat, a
hook went in. The doubtful part is judged against the clear one beside it: that both answers differ
counts :data:`CHANGE` times as much as it would without a step.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from posescore.terms import Floats

CHANGE: Final = 3.0
"""How much likelier a visible step is where the criterion changed than where it did not. In the
filmed training matches three steps of four were changes, and all three changes showed as steps
where one step showed in ten holds without a change; held to a third of that, for they are few."""
VISIBLE: Final = 1.5
"""Difference of the log odds of two parts from which they step visibly."""


def yes_of_parts(odds: Floats, counted: Floats, before: float) -> Floats:
    """Probability of yes in each part, ``(n_parts,)``.

    Parameters
    ----------
    odds
        ``(n_parts,)`` float64: mean log odds of an instant of each part.
    counted
        ``(n_parts,)`` float64: how many observations each part counts as.
    before
        Probability of yes before looking.

    Notes
    -----
    A chain of parts, summed forwards and backwards: exact for all answers of all parts.
    """
    says = odds * counted + np.log(before / (1.0 - before))
    alone = np.stack([np.zeros(len(says)), says], axis=1)
    steps = np.where(np.abs(np.diff(odds)) >= VISIBLE, np.log(CHANGE), 0.0)
    forward, backward = alone.copy(), np.zeros_like(alone)
    for part, bonus in enumerate(steps, start=1):
        forward[part] += _carried(forward[part - 1], bonus)
    for part, bonus in reversed(list(enumerate(steps, start=1))):
        backward[part - 1] = _carried(backward[part] + alone[part], bonus)
    both = forward + backward
    return np.asarray(1.0 / (1.0 + np.exp(np.clip(both[:, 0] - both[:, 1], -500.0, 500.0))))


def _carried(other: Floats, bonus: float) -> Floats:
    """What the answers of one part say of those beside it, log, ``(2,)``: no and yes."""
    no, yes = float(other[0]), float(other[1])
    return np.array([np.logaddexp(no, yes + bonus), np.logaddexp(no + bonus, yes)])
