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
from posescore.pose.tracking.slots import Detection, Slot, square_around

OPENING_S: Final = 6.0
"""Seconds looked at once two people have been seen: long enough for athletes to take grips."""
OPENING_LIMIT_S: Final = 30.0
"""After this, what there is has to do."""
WHOLE_PICTURES_PER_S: Final = 2.0
"""How often the whole picture is searched in the opening where two people are in view already. A
whole picture costs three to five times what the pair's surroundings do, and a dozen of them in the
opening tell the athletes as well as ninety."""
_SAME_COST: Final = 1.2
_CLOSEST_QUANTILE: Final = 0.2

Looks = Sequence[tuple[int, float, list[Detection]]]
"""Row, time in seconds and detections of every frame of the opening."""


@dataclass(slots=True)
class Candidate:
    """Somebody seen in the opening."""

    slot: Slot = field(default_factory=Slot)
    detections: dict[int, Detection] = field(default_factory=dict)
    """By row."""

    def take(self, row: int, time_s: float, detection: Detection) -> None:
        """Add a detection."""
        self.slot.place(detection, time_s, learn=True)
        self.detections[row] = detection


def candidates(looks: Looks) -> list[Candidate]:
    """Everybody in view, followed loosely: the cheapest matches first, the rest are new people."""
    people: list[Candidate] = []
    for row, time_s, detections in looks:
        costs = sorted(
            (person.slot.cost(detection, time_s), i, j)
            for i, person in enumerate(people)
            for j, detection in enumerate(detections)
        )
        taken: set[int] = set()
        served: set[int] = set()
        for cost, i, j in costs:
            if cost < _SAME_COST and i not in served and j not in taken:
                people[i].take(row, time_s, detections[j])
                served.add(i)
                taken.add(j)
        for j, detection in enumerate(detections):
            if j not in taken:
                people.append(Candidate())
                people[-1].take(row, time_s, detection)
    return people


def opening_box(looks: Looks, time_s: float, margin: float) -> Box | None:
    """Where an estimator of the pair is told to look next while it is open who the athletes are.

    Parameters
    ----------
    looks
        Of the opening so far, in order.
    margin
        Room on every side, as a fraction of the size of both people together.

    Returns
    -------
    None, for the whole picture, :data:`WHOLE_PICTURES_PER_S` times a second and whenever the last
    look did not see two people; else a square around those two.
    """
    if not looks:
        return None
    _, last_s, detections = looks[-1]
    if len(detections) != 2 or int(time_s * WHOLE_PICTURES_PER_S) != int(
        last_s * WHOLE_PICTURES_PER_S
    ):
        return None
    points = np.concatenate([detection.person.keypoints_px for detection in detections])
    return square_around(points.astype(np.float64), margin)


def choose_athletes(looks: Looks) -> tuple[int, tuple[Detection, ...]] | None:
    """The row to start from and the athletes' detections there, left before right as first seen.

    With one person in view there is one detection, with nobody None.
    """
    people = candidates(looks)
    if not people:
        return None
    n_looks = len(looks)
    pairs = [
        (a, b) for a, b in itertools.combinations(people, 2) if a.detections.keys() & b.detections
    ]
    if not pairs:
        alone = max(people, key=lambda p: len(p.detections))
        row = max(alone.detections, key=lambda r: alone.detections[r].person.score)
        return row, (alone.detections[row],)
    one, two = max(pairs, key=lambda pair: _likeness(pair[0], pair[1], n_looks))
    together = sorted(one.detections.keys() & two.detections)
    first = together[0]
    if _x(one, first) > _x(two, first):
        one, two = two, one
    row = max(together, key=lambda r: _clearness(one.detections[r], two.detections[r]))
    return row, (one.detections[row], two.detections[row])


def _x(candidate: Candidate, row: int) -> float:
    return float(candidate.detections[row].person.centre_px[0])


def _likeness(one: Candidate, two: Candidate, n_looks: int) -> float:
    """How much two candidates look like the athletes; all terms in body sizes or fractions."""
    together = [
        (one.detections[r].person, two.detections[r].person)
        for r in one.detections
        if r in two.detections
    ]
    apart = [
        np.linalg.norm(a.centre_px - b.centre_px) / ((a.size_px + b.size_px) / 2)
        for a, b in together
    ]
    closest = float(np.quantile(apart, _CLOSEST_QUANTILE))
    sizes = np.array([(a.size_px, b.size_px) for a, b in together])
    unequal = float(np.abs(np.log(sizes[:, 0] / sizes[:, 1])).mean())
    in_view = (len(one.detections) + len(two.detections)) / n_looks
    confidence = float(np.mean([a.score + b.score for a, b in together]))
    size = float(np.log(sizes.mean()))
    return 2 * in_view + confidence + size - closest - 0.5 * unequal


def _clearness(one: Detection, two: Detection) -> float:
    """Better the more certain both are, and the less they hide each other."""
    apart = float(np.linalg.norm(one.person.centre_px - two.person.centre_px))
    sizes = (one.person.size_px + two.person.size_px) / 2
    coloured = (one.colour is not None) + (two.colour is not None)
    return float(one.person.score + two.person.score + min(1.0, apart / sizes) + coloured)
