"""Who of the people in view are the athletes: decided over the first seconds, not in one frame.

At the start of a match the referee often stands between the athletes. So everybody is followed
loosely for a while, and the two are chosen who are in view most, are large, and come closest.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from posescore.pose.estimators.estimator import Box
from posescore.pose.tracking.slots import Sight, Slot, square_around

OPENING_S: Final = 6.0
"""Seconds looked at once two people have been seen: long enough for athletes to take grips."""
OPENING_LIMIT_S: Final = 30.0
"""After this, what there is has to do."""
WHOLE_PICTURES_PER_S: Final = 2.0
"""How often the whole picture is searched in the opening where two people are in view already. A
whole picture costs three to five times what the pair's surroundings do, and a dozen of them in the
opening tell the athletes as well as ninety."""
_SAME_COST: Final = 1.2
_CLOSEST_SHARE: Final = 0.2

Looks = Sequence[tuple[int, float, list[Sight]]]
"""Row, time in seconds and finds of every frame of the opening."""


@dataclass(slots=True)
class Candidate:
    """Somebody seen in the opening."""

    slot: Slot = field(default_factory=Slot)
    sights: dict[int, Sight] = field(default_factory=dict)
    """By row."""

    def take(self, row: int, time_s: float, sight: Sight) -> None:
        """Add a sight."""
        self.slot.place(sight, time_s, learn=True)
        self.sights[row] = sight


def candidates(looks: Looks) -> list[Candidate]:
    """Everybody in view, followed loosely: the cheapest matches first, the rest are new people."""
    people: list[Candidate] = []
    for row, time_s, sights in looks:
        costs = sorted(
            (person.slot.cost(sight, time_s), i, j)
            for i, person in enumerate(people)
            for j, sight in enumerate(sights)
        )
        taken: set[int] = set()
        served: set[int] = set()
        for cost, i, j in costs:
            if cost < _SAME_COST and i not in served and j not in taken:
                people[i].take(row, time_s, sights[j])
                served.add(i)
                taken.add(j)
        for j, sight in enumerate(sights):
            if j not in taken:
                people.append(Candidate())
                people[-1].take(row, time_s, sight)
    return people


def opening_box(looks: Looks, time_s: float, margin: float) -> Box | None:
    """Where an estimator of the pair is told to look next while it is open who the athletes are.

    Parameters
    ----------
    looks
        Of the opening so far, in order.
    time_s
        Of the frame to be searched.
    margin
        Room on every side, as a share of the size of both people together.

    Returns
    -------
    None, for the whole picture, :data:`WHOLE_PICTURES_PER_S` times a second and whenever the last
    look did not see two people; else a square around those two.
    """
    if not looks:
        return None
    _, last_s, sights = looks[-1]
    if len(sights) != 2 or int(time_s * WHOLE_PICTURES_PER_S) != int(last_s * WHOLE_PICTURES_PER_S):
        return None
    points = np.concatenate([sight.person.keypoints_px for sight in sights])
    return square_around(points.astype(np.float64), margin)


def choose_athletes(looks: Looks) -> tuple[int, tuple[Sight, ...]] | None:
    """The row to start from and the athletes' sights there, left before right as first seen.

    With one person in view there is one sight, with nobody None.
    """
    people = candidates(looks)
    if not people:
        return None
    n_looks = len(looks)
    pairs = [(a, b) for a, b in itertools.combinations(people, 2) if a.sights.keys() & b.sights]
    if not pairs:
        alone = max(people, key=lambda p: len(p.sights))
        row = max(alone.sights, key=lambda r: alone.sights[r].person.score)
        return row, (alone.sights[row],)
    one, two = max(pairs, key=lambda pair: _likeness(pair[0], pair[1], n_looks))
    together = sorted(one.sights.keys() & two.sights)
    first = together[0]
    if _x(one, first) > _x(two, first):
        one, two = two, one
    row = max(together, key=lambda r: _clearness(one.sights[r], two.sights[r]))
    return row, (one.sights[row], two.sights[row])


def _x(candidate: Candidate, row: int) -> float:
    return float(candidate.sights[row].person.centre_px[0])


def _likeness(one: Candidate, two: Candidate, n_looks: int) -> float:
    """How much two candidates look like the athletes; all terms in body sizes or shares."""
    together = [(one.sights[r].person, two.sights[r].person) for r in one.sights if r in two.sights]
    apart = [
        np.linalg.norm(a.centre_px - b.centre_px) / ((a.size_px + b.size_px) / 2)
        for a, b in together
    ]
    closest = float(np.quantile(apart, _CLOSEST_SHARE))
    sizes = np.array([(a.size_px, b.size_px) for a, b in together])
    unequal = float(np.abs(np.log(sizes[:, 0] / sizes[:, 1])).mean())
    in_view = (len(one.sights) + len(two.sights)) / n_looks
    sure = float(np.mean([a.score + b.score for a, b in together]))
    size = float(np.log(sizes.mean()))
    return 2 * in_view + sure + size - closest - 0.5 * unequal


def _clearness(one: Sight, two: Sight) -> float:
    """Better the more certain both are, and the less they hide each other."""
    apart = float(np.linalg.norm(one.person.centre_px - two.person.centre_px))
    sizes = (one.person.size_px + two.person.size_px) / 2
    coloured = (one.colour is not None) + (two.colour is not None)
    return float(one.person.score + two.person.score + min(1.0, apart / sizes) + coloured)
